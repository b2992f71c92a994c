"""One fault group as a finite problem: what is at hand, what it tells, where the machine stands."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.planner.candidates import Candidate, rerun
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import EVERYTHING, Means, TroubleshootingProblem
from diagnose.planner.repairs import remedy_candidate
from diagnose.planner.setup_state import present
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, both_checks, ranked

EMPTY_HANDED = Means(frozenset({"gauge", "meter"}), alone=True)


@cache
def problem(means: Means = EVERYTHING, *story: str) -> TroubleshootingProblem:
    ranking = ranked("mounted-6", *STEADY, *(story or ("response=PPPPPF", *RESPONSE)))
    return TroubleshootingProblem(ranking, fault_groups(ranking)[0], means)


def acts(means: Means) -> list[Candidate]:
    """Everything that can be done: tests, and remedies."""
    here = problem(means)
    remedies = [repair.candidate for repair in here.repairs if repair.candidate is not None]
    return [*(candidate for candidate, _ in here.tests), *remedies]


@pytest.mark.parametrize("tool", ["gauge", "meter", "display"])
def test_what_is_not_at_hand_is_not_offered(tool: str) -> None:
    assert tool in {act.tool for act in acts(EVERYTHING)}
    assert tool not in {act.tool for act in acts(Means(frozenset({tool})))}


def test_alone_nothing_is_offered_that_takes_two() -> None:
    assert any(act.helper for act in acts(EVERYTHING))
    assert not any(act.helper for act in acts(Means(alone=True)))
    assert not any("two people" in act.needs for act in acts(Means(alone=True)))


def test_less_at_hand_only_takes_away() -> None:
    every = {act.id for act in acts(EVERYTHING)}
    some = {act.id for act in acts(EMPTY_HANDED)}
    assert some < every
    refused = [act for act in acts(EVERYTHING) if act.id not in some]
    assert all(act.helper or act.tool in ("gauge", "meter") for act in refused)


def test_every_likelihood_is_a_distribution_over_the_outcomes() -> None:
    finite = problem().finite
    for test in finite.tests:
        assert test.likelihood.min() >= 0, test.id
        assert test.likelihood.sum(axis=1) == pytest.approx(np.ones(len(finite.prior))), test.id


def test_the_blame_is_a_distribution_and_everyone_likely_is_kept() -> None:
    here = problem()
    assert here.finite.prior.sum() == pytest.approx(1)
    assert here.information.blame[here.kept].sum() == pytest.approx(
        here.information.blame.sum(), abs=0.01
    )


def test_a_test_tells_of_a_mode_what_the_knowledge_says_of_it() -> None:
    """An open coil reads open by its chance or by the false alarm, whatever else is wrong."""
    here = problem()
    number = [test.id for test in here.finite.tests].index("coil-resistance@row-6/valve")
    names = [here.information.names[blame] for blame in here.kept]
    kind = here.evidence.model.machine.parts["row-6/valve"]
    bad = kind.measurement("coil-resistance").results[0]
    wanted = 1 - (1 - bad.sees["coil_open"]) * (1 - bad.false_alarm)
    likelihood = here.finite.tests[number].likelihood
    assert likelihood[names.index("row-6/valve:coil_open"), 0] == pytest.approx(wanted, abs=1e-9)
    assert likelihood[names.index("row-6/sensor:open"), 0] < 0.02


def test_every_single_cause_has_something_that_is_done_about_it() -> None:
    finite = problem().finite
    assert (finite.fixes.max(axis=1) > 0).all()


@pytest.mark.parametrize(
    ("story", "setup"),
    [
        ((), "parked"),
        (("bleed=PPPPPF",), "bleeding"),
        (("bleed=PPPPPF", "response=PPPPPF"), "running"),
        (("response=PPPPPF", "replace-coil@row-6=done"), "parked"),
        (("response=PPPPPF", "swap-coil@row-6=row-5"), "parked"),
        (("response=PPPPPF", "hold-lever@supply/remote=done"), "running"),
        (("response=PPPPPF", "replace-coil@row-6=done", "bleed=.....P"), "bleeding"),
        (("response=PPPPPF", "coil-resistance@row-6=8ohm"), "parked"),
        (("bleed=PPPPPF", "valve-code@row-6/valve=5"), "bleeding"),
        (("coil-resistance@row-6=8ohm", "replace-coil@row-6=done", "response=.....F"), "running"),
    ],
)
def test_the_machine_stands_as_the_last_thing_left_it(story: tuple[str, ...], setup: str) -> None:
    assert present(ranked("mounted-6", *STEADY, *story).evidence).setup == setup


def test_three_reruns_in_a_row_cost_less_than_three_from_parked() -> None:
    parked = problem(EVERYTHING, "response=PPPPPF", *RESPONSE, "coil-resistance@row-6=8ohm")
    running = problem()
    again = rerun(running.evidence, "response", (6,), (6,))
    first, next_ones = parked.change_to(again), running.change_to(again)
    assert (first > 0, next_ones) == (True, 0)
    assert 3 * (again.minutes + next_ones) < 3 * (again.minutes + first)


def test_going_over_to_the_other_check_costs_both_changes() -> None:
    bleed = rerun(problem().evidence, "bleed", (6,), (6,))
    bled = problem(EVERYTHING, "bleed=PPPPPF", *BLEED)
    response = rerun(bled.evidence, "response", (6,), (6,))
    setups = problem().knowledge.setups
    over = setups["running"].leave_minutes + setups["bleeding"].enter_minutes
    back = setups["bleeding"].leave_minutes + setups["running"].enter_minutes
    assert problem().change_to(bleed) == pytest.approx(over)
    assert bled.change_to(response) == pytest.approx(back)


def test_bleeding_more_rows_takes_so_many_minutes_more() -> None:
    """The section of a wider machine has more rows, the planter more still (judgement)."""

    def minutes(machine: str, part: str) -> float:
        every = range(1, load_machine(machine).rows + 1)
        ranking = both_checks(machine, every, [])
        causes = (cause for cause in ranking.causes if cause.id == f"{part}:trapped")
        cause = next(causes)
        assert cause.remedy is not None
        return remedy_candidate(ranking.evidence, cause, cause.remedy, ["bleed"]).minutes

    each = load_knowledge().parts["circuit-air"].remedy("bleed-again").minutes_per_row
    wider = minutes("mounted-12", "supply/air") - minutes("mounted-6", "supply/air")
    assert wider == pytest.approx(6 * each) != 0
    section = len(load_machine("mounted-12").sections["section-2"])
    more = minutes("mounted-12", "section-2/air") - minutes("mounted-12", "row-7/air")
    fixed = [
        load_knowledge().parts[kind].remedies[0].minutes for kind in ("section-air", "row-air")
    ]
    assert more == pytest.approx((section - 1) * each + fixed[0] - fixed[1])


def test_what_is_done_at_one_place_costs_the_same_however_many_rows_it_serves() -> None:
    coupler = load_knowledge().parts["coupler"].remedy("reseat-coupler")
    assert coupler.minutes_for(48) == coupler.minutes_for(6) == coupler.minutes
