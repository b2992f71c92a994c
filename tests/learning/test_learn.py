"""Closed cases move priors towards the truth, and say so when the shipped ones cannot be right."""

import numpy as np
import pytest

from diagnose.knowledge.parts import PartKind
from diagnose.learning.counts import Counts, count_cases
from diagnose.learning.update import Lesson, learn
from tests.learning.fleets import KNOWN, WEIGHTS, Closed, fleet, lesson, moved

COIL = Closed("mounted-12", ("row-6/valve:coil_open",))
SOUND = Closed("mounted-12")
GIVEN_UP = Closed("mounted-12", (), "given-up")
OPEN = Closed("mounted-12", (), "open")


def valves_thrice(kind: PartKind, _frame: str) -> float:
    return 3.0 if kind.id == "valve" else 1.0


def cylinders_of_folding(kind: PartKind, frame: str) -> float:
    return 4.0 if kind.id == "cylinder" and frame == "folding" else 1.0


def rates(lesson: Lesson) -> dict[tuple[str, str], float]:
    return {(each.kind, each.mode): each.after.mean for each in lesson.modes}


def test_a_part_kind_is_exposed_once_for_each_part_of_the_machine() -> None:
    fleet = count_cases([COIL, SOUND, Closed("mounted-6")], KNOWN).fleet
    assert fleet.cases == 3
    assert fleet.part_cases["valve"] == 12 + 12 + 6
    assert fleet.part_cases["coupler"] == 3
    assert fleet.found == {("valve", "coil_open"): 1}


def test_the_new_prior_is_worked_out_by_hand() -> None:
    """Coil open has 0.0012 of the valve's 0.01: 0.6 of 5 faults in 500; then 1 in 24 more."""
    assert moved(lesson([COIL, SOUND]), "valve", "coil_open").after.mean == pytest.approx(1.6 / 524)


def test_cases_that_end_without_cause_or_proof_are_left_out() -> None:
    counts = count_cases([COIL, GIVEN_UP, OPEN], KNOWN)
    assert (counts.fleet.cases, counts.unfinished) == (1, 2)


@pytest.mark.parametrize("outcome", ["open", "handed-over"])
def test_a_case_that_goes_on_counts_for_nothing_even_if_it_names_causes(outcome: str) -> None:
    counts = count_cases([Closed("mounted-12", COIL.causes, outcome)], KNOWN)
    assert (counts.fleet.cases, counts.unfinished) == (0, 1)


def test_a_cause_named_twice_is_one_fault() -> None:
    assert count_cases([Closed("mounted-12", COIL.causes * 2)], KNOWN) == count_cases([COIL], KNOWN)


def test_bad_circumstances_are_no_fault_of_a_part() -> None:
    counts = count_cases([Closed("mounted-12", ("circumstances/oil@1",))], KNOWN)
    assert (counts.fleet.cases, counts.fleet.found, counts.unknown_causes) == (1, {}, {})


def test_what_is_not_known_is_told_and_not_counted() -> None:
    strange = Closed("mounted-12", ("row-13/valve:coil_open", "row-6/valve:melted"))
    counts = count_cases([strange, Closed("somebodys-planter", COIL.causes)], KNOWN)
    assert counts.unknown_causes.total() == 2
    assert counts.unknown_machines == {"somebodys-planter": 1}
    assert (counts.fleet.cases, counts.fleet.found) == (1, {})


def test_no_cases_change_nothing() -> None:
    nothing = lesson([])
    assert (nothing.modes, nothing.kinds, nothing.frames, nothing.conflicts) == ((), (), {}, ())


def test_the_order_of_cases_does_not_matter() -> None:
    cases = fleet(300, np.random.default_rng(1))
    shuffled = [cases[place] for place in np.random.default_rng(2).permutation(len(cases))]
    assert lesson(shuffled) == lesson(cases)


def test_learning_in_two_halves_is_learning_at_once() -> None:
    cases = fleet(400, np.random.default_rng(3))
    first, second = count_cases(cases[:150], KNOWN), count_cases(cases[150:], KNOWN)
    assert learn(first + second, KNOWN.parts, WEIGHTS) == lesson(cases)
    before = moved(learn(first, KNOWN.parts, WEIGHTS), "valve", "leaking").after
    half = second.fleet
    after = before.seen(half.found["valve", "leaking"], half.part_cases["valve"])
    assert after.mean == pytest.approx(moved(lesson(cases), "valve", "leaking").after.mean)


def test_a_mode_that_was_never_seen_keeps_a_positive_prior() -> None:
    learned = rates(lesson([SOUND] * 1_000_000))
    assert 0 < min(learned.values()) < max(learned.values()) < 0.001


def test_modes_of_a_kind_add_up_to_the_kind() -> None:
    found = lesson(fleet(200, np.random.default_rng(4)))
    for kind in found.kinds:
        own = [each.after.mean for each in found.modes if each.kind == kind.kind]
        assert sum(own) == pytest.approx(kind.after.mean)


def test_rates_three_times_the_shipped_are_found_and_flagged() -> None:
    found = lesson(fleet(3000, np.random.default_rng(5), valves_thrice))
    valve = moved(found, "valve")
    low, high = valve.after.interval(0.99)
    assert low < 0.03 < high
    assert high - low < 0.006
    assert valve in found.conflicts
    assert {each.kind for each in found.conflicts} == {"valve"}


def test_more_cases_bring_the_prior_nearer_to_the_truth() -> None:
    rng = np.random.default_rng(6)
    off = [
        abs(moved(lesson(fleet(cases, rng, valves_thrice)), "valve").after.mean - 0.03)
        for cases in (10, 100, 10_000)
    ]
    assert off == sorted(off, reverse=True)
    assert off[-1] < 0.0012  # three standard errors of 0.03 in 212,000 part-cases


@pytest.mark.slow
def test_a_shipped_prior_that_holds_is_rarely_flagged() -> None:
    """Two tails of 0.005 allow 1 count in 100; 400 fleets of 50 to 5,000 cases had 6 in 32,000."""
    rng = np.random.default_rng(7)
    found = [lesson(fleet(200, rng)) for _ in range(40)]
    looked_at = sum(len(each.modes) + len(each.kinds) for each in found)
    assert looked_at > 3000
    assert sum(len(each.conflicts) for each in found) < looked_at / 100


def test_frames_that_differ_learn_apart() -> None:
    found = lesson(fleet(2000, np.random.default_rng(8), cylinders_of_folding))
    assert {each.kind for each in found.frames["folding"]} == {"cylinder"}
    folding = {each.mode: each.times for each in found.frames["folding"]}
    mounted = {each.mode: each.times for each in found.frames["mounted"]}
    assert folding["binding"] > 2 * mounted["binding"]


def test_frames_that_do_not_differ_learn_together() -> None:
    assert lesson(fleet(2000, np.random.default_rng(9))).frames == {}


def test_counts_of_nothing_add_nothing() -> None:
    counts = count_cases([COIL], KNOWN)
    assert counts + Counts() == counts
