"""Work between runs: what was repaired or swapped counts from then on, and only from then on."""

from dataclasses import replace

import numpy as np
import pytest

from diagnose.api import rank
from diagnose.diagnosis.causes import Ranking
from diagnose.inference.posterior import log_evidence, posterior
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.case import Case
from diagnose.observations.typed import read_typed
from diagnose.planner.offers import next_tests

KNOWN = load_knowledge()
MACHINE = load_machine("mounted-6", KNOWN)
STATED = [
    "first-hookup=no",
    "rehooked=no",
    "oil=54C",
    "engine=on",
    "moving=no",
    "supply=180bar",
    "bleed-hose=stowed",
]


def ranking(*typed: str) -> Ranking:
    return rank(MACHINE, read_typed(MACHINE, [*STATED, *typed], KNOWN), KNOWN)


def probability(found: Ranking, cause: str) -> float:
    return next(each.probability for each in found.causes if each.id == cause)


def blind_after(found: Ranking, part: str, modes: set[str], runs: int) -> float:
    """Log evidence when the modes of a part are invisible in every run after the first ones."""
    evidence = found.evidence
    hidden = {evidence.model.flat(part, mode) for mode in modes}
    seen = []
    for one in evidence.observed:
        states, logs = one.entries
        keep = np.array([one.run <= runs or state not in hidden for state in states.tolist()])
        seen.append(replace(one, entries=(states[keep], logs[keep])))
    return log_evidence(evidence.network_of(seen))


def test_a_remedy_is_a_coin_that_hides_its_modes_from_later_runs() -> None:
    before, after = "response=PPPPPF", "response=....PF"
    plain = ranking(before, after)
    mended = ranking(before, "replace-coil@row-6=done", after)
    remedy = KNOWN.parts["valve"].remedy("replace-coil")
    worked = blind_after(plain, "row-6/valve", {"coil_open", "coil_shorted"}, runs=1)
    mixed = np.logaddexp(
        np.log(remedy.fixes) + worked, np.log1p(-remedy.fixes) + plain.posterior.log_evidence
    )
    assert mended.posterior.log_evidence == pytest.approx(mixed, abs=1e-9)


def test_each_bleeding_goes_on_where_the_last_one_stopped_with_its_whole_chance() -> None:
    runs = ["bleed=FPPPPP", "bleed=F.....", "bleed=F....."]
    once = ranking(runs[0], "bleed-again@row-1/air=done", runs[1], runs[2])
    twice = ranking(
        runs[0], "bleed-again@row-1/air=done", runs[1], "bleed-again@row-1/air=done", runs[2]
    )
    plain = ranking(*runs)
    fixes = KNOWN.parts["row-air"].remedy("bleed-again").fixes
    first = blind_after(plain, "row-1/air", {"trapped"}, runs=1)
    second = blind_after(plain, "row-1/air", {"trapped"}, runs=2)
    neither = plain.posterior.log_evidence
    assert np.exp(once.posterior.log_evidence) == pytest.approx(
        fixes * np.exp(first) + (1 - fixes) * np.exp(neither), rel=1e-9
    )
    assert np.exp(twice.posterior.log_evidence) == pytest.approx(
        fixes * np.exp(first)
        + (1 - fixes) * fixes * np.exp(second)
        + (1 - fixes) ** 2 * np.exp(neither),
        rel=1e-9,
    )


def test_what_a_remedy_has_left_the_same_clears_half_as_likely() -> None:
    runs, clean = ["bleed=FFFPPP", "bleed=FFF...", "bleed=FFF..."], "clean-port@port-left=done"
    twice = ranking(runs[0], clean, runs[1], clean, runs[2])
    plain = ranking(*runs)
    fixes = KNOWN.parts["bleed-port"].remedy("clean-port").fixes
    first = blind_after(plain, "port-left/port", {"blocked"}, runs=1)
    second = blind_after(plain, "port-left/port", {"blocked"}, runs=2)
    assert np.exp(twice.posterior.log_evidence) == pytest.approx(
        fixes * np.exp(first)
        + (1 - fixes) * fixes / 2 * np.exp(second)
        + (1 - fixes) * (1 - fixes / 2) * np.exp(plain.posterior.log_evidence),
        rel=1e-9,
    )


def test_a_remedy_that_failed_gives_way_to_the_greater_one() -> None:
    bled = ["bleed-hose=fitted", "supply=62bar"]
    first = ranking("bleed=FFFPPP", *bled)
    failed = ranking("bleed=FFFPPP", *bled, "clean-port@port-left=done", "bleed=FFF...", *bled)
    offered = [
        next(p.candidate.id for p in next_tests(found) if p.candidate.kind == "remedy")
        for found in (first, failed)
    ]
    assert offered == ["clean-port@port-left/port", "replace-port@port-left/port"]


def test_a_fault_that_moved_has_been_treated_as_often_as_before() -> None:
    found = ranking(
        "response=PPPPPF",
        "clean-connector@row-6=done",
        "cross-plugs@row-6=row-5",
        "response=....FP",
    )
    epochs = found.evidence.epochs
    assert epochs.tried("row-6/connector", "open", "clean-connector") == 1
    assert epochs.tried("row-5/connector", "open", "clean-connector") == 0


def test_a_remedy_that_was_not_for_the_fault_leaves_it() -> None:
    found = ranking("response=PPPPPF", "replace-coil@row-6=done", "response=....PF")
    assert probability(found, "row-6/valve:coil_open") < 0.005
    assert max(found.causes, key=lambda cause: cause.probability).rows == (6,)


def test_what_a_remedy_cured_is_told_apart_from_what_is_there_still() -> None:
    found = ranking("response=PPPPPF", "replace-coil@row-6=done", "response=PPPPPP")
    coil = [cause for cause in found.causes if cause.part == "row-6/valve" and cause.cured > 0.1]
    assert {cause.mode for cause in coil} == {"coil_open", "coil_shorted"}
    assert all(cause.probability < 0.01 for cause in coil)


def test_states_of_a_part_still_sum_to_one() -> None:
    found = ranking(
        "response=PPPPPF",
        "swap-coil@row-6=row-5",
        "response=....FP",
        "replace-coil@row-5=done",
        "clean-valve@row-6=done",
        "response=PPPPPP",
    )
    evidence = found.evidence
    sums = np.add.reduceat(posterior(evidence.network).flat, evidence.offsets[:-1])
    assert sums == pytest.approx(np.ones(len(evidence.variables)))
    assert np.add.reduceat(evidence.prior, evidence.offsets[:-1]) == pytest.approx(sums)


def test_swapping_twins_before_the_only_run_swaps_what_is_blamed() -> None:
    # Not to the last digit: one valve has one fault at most, and the swap parts coil and body.
    plain = ranking("response=PPFPPP")
    swapped = ranking("swap-coil@row-3=row-4", "response=PPFPPP")
    for mode in ("coil_open", "coil_shorted"):
        assert probability(swapped, f"row-4/valve:{mode}") == pytest.approx(
            probability(plain, f"row-3/valve:{mode}"), rel=0.01
        )
    assert probability(swapped, "row-3/valve:stuck_closed") == pytest.approx(
        probability(plain, "row-3/valve:stuck_closed"), rel=0.01
    )


@pytest.mark.parametrize(
    ("after", "blamed"),
    [("response=....FP", {"coil_open", "coil_shorted"}), ("response=....PF", set())],
)
def test_a_fault_that_follows_the_swap_is_in_what_was_swapped(after: str, blamed: set[str]) -> None:
    found = ranking("response=PPPPPF", "swap-coil@row-6=row-5", after)
    coil = sum(probability(found, f"row-6/valve:{mode}") for mode in ("coil_open", "coil_shorted"))
    assert (coil > 0.9) == bool(blamed)
    assert (coil < 0.02) == (not blamed)


def test_crossed_plugs_take_the_driver_along() -> None:
    found = ranking("response=PPPPPF", "cross-plugs@row-6/connector=row-5", "response=....FP")
    moved = ["connector:open", "connector:high_resistance", "driver:no_output", "driver:weak"]
    assert sum(probability(found, f"row-6/{cause}") for cause in moved) > 0.7


def test_a_cause_that_was_swapped_knows_where_it_is_now() -> None:
    found = ranking("response=PPPPPF", "swap-coil@row-6=row-5", "response=....FP")
    assert found.evidence.epochs.place_of("row-6/valve", "coil_open") == "row-5/valve"
    assert found.evidence.epochs.place_of("row-6/valve", "leaking") == "row-6/valve"


def test_swapping_twice_is_swapping_back() -> None:
    back = ranking(
        "response=PPPPPF", "swap-coil@row-6=row-5", "swap-coil@row-6=row-5", "response=....PF"
    )
    plain = ranking("response=PPPPPF", "response=....PF")
    assert back.posterior.log_evidence == pytest.approx(plain.posterior.log_evidence, abs=1e-10)


def test_a_reading_counts_in_its_own_epoch() -> None:
    good = "coil-resistance@row-6=8ohm"
    early = ranking("response=PPPPPF", good, "replace-coil@row-6=done")
    late = ranking("response=PPPPPF", "replace-coil@row-6=done", good)
    coil = {"coil_open", "coil_shorted"}
    cured = {
        name: sum(c.cured for c in found.causes if c.part == "row-6/valve" and c.mode in coil)
        for name, found in {"early": early, "late": late}.items()
    }
    assert cured["early"] < 0.02
    assert cured["late"] > 0.15


def test_a_case_without_work_is_as_it_always_was() -> None:
    case = read_typed(MACHINE, [*STATED, "response=PPPPPF"], KNOWN)
    assert case.work == ()
    assert isinstance(case, Case)
    evidence = rank(MACHINE, case, KNOWN).evidence
    assert evidence.epochs.offsets.tolist() == evidence.model.offsets.tolist()


def test_swaps_that_couple_four_rows_and_a_remedy_are_planned_for() -> None:
    machine = load_machine("mounted-12", KNOWN)
    typed = [
        *("bleed=PPPPPPPPPPPP", "response=PPFPPPPPPFPP"),
        *("cross-plugs@row-3/connector=row-2", "response=.PF........."),
        *("cross-plugs@row-10/connector=row-9", "response=........PF.."),
        *("valve-code@row-3=5", "valve-code@row-10=7", "sensor-code@row-10=0"),
        *("replace-valve@row-10=done", "response=.........P.."),
    ]
    found = rank(machine, read_typed(machine, [*STATED, *typed], KNOWN), KNOWN)
    assert next_tests(found)
