"""What would be known after something was done is what is known once it really was done."""

from __future__ import annotations

from functools import cache

import pytest

from diagnose.diagnosis.causes import Ranking
from diagnose.planner.candidates import Candidate
from diagnose.planner.decide import best_choice
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.what_if import chance, what_if
from tests.diagnosis.situations import RESPONSE, STEADY, ranked
from tests.planner.quickscore import Made, joint_chance

STORY = (*STEADY, "first-hookup=no", "response=PPPPPF", *RESPONSE)
COMPLETE = [
    "response@6",
    "bleed@6",
    "response@5-6",
    "coil-resistance@row-6/valve",
    "valve-code@row-6/valve",
    "look-leak@row-6/valve",
    "voltage-under-load@row-6/connector",
    "replace-coil@row-6/valve",
    "clean-valve@row-6/valve",
    "bleed-again@row-6/air",
    "swap-sensor@row-6/sensor+row-5/sensor",
]


@cache
def before() -> Ranking:
    return ranked("mounted-6", *STORY)


@cache
def acts() -> dict[str, Candidate]:
    """Everything that can be done, remedies with the check that proves them."""
    problem = TroubleshootingProblem(before(), fault_groups(before())[0])
    return {offer.candidate.id: offer.candidate for offer in best_choice(problem).offers}


def after(act: str, result: str) -> Ranking:
    found = acts()[act]
    return what_if(before(), found, next(o for o in found.outcomes if o.result == result))


def beliefs(ranking: Ranking) -> dict[str, float]:
    return {cause.id: cause.probability for cause in ranking.causes}


@pytest.mark.parametrize(
    ("act", "result", "typed"),
    [
        ("valve-code@row-6/valve", "good", "valve-code@row-6=none"),
        ("look-leak@row-6/valve", "good", "look-leak@row-6/valve=no"),
    ],
)
def test_that_nothing_was_found_counts_when_it_is_told_as_it_did_when_it_was_expected(
    act: str, result: str, typed: str
) -> None:
    told = beliefs(ranked("mounted-6", *STORY, typed))
    assert beliefs(after(act, result)) == pytest.approx(told, abs=1e-9)


@pytest.mark.parametrize("act", COMPLETE)
def test_the_outcomes_of_an_act_are_all_there_are(act: str) -> None:
    found = acts()[act]
    every = [chance(before(), what_if(before(), found, outcome)) for outcome in found.outcomes]
    assert sum(every) == pytest.approx(1, abs=1e-9)
    assert min(every) > 0


@pytest.mark.parametrize("act", COMPLETE)
def test_beliefs_are_the_mean_of_what_they_may_become(act: str) -> None:
    """The law of total expectation; what was cured is counted with what is there."""
    found = acts()[act]
    mean: dict[str, float] = {}
    for outcome in found.outcomes:
        supposed = what_if(before(), found, outcome)
        weight = chance(before(), supposed)
        for cause in supposed.causes:
            was_there = weight * (cause.probability + cause.cured)
            mean[cause.id] = mean.get(cause.id, 0.0) + was_there
    assert {name: mean[name] for name in beliefs(before())} == pytest.approx(
        beliefs(before()), abs=1e-8
    )


@pytest.mark.parametrize(
    ("act", "result", "typed"),
    [
        ("response@6", "fails again", ["response=.....F"]),
        ("response@5-6", "only 6 fails", ["response=....PF"]),
        ("replace-coil@row-6/valve", "passes", ["replace-coil@row-6=done", "response=.....P"]),
        ("replace-coil@row-6/valve", "fails again", ["replace-coil@row-6=done", "response=.....F"]),
        (
            "swap-coil@row-6/valve+row-5/valve",
            "the failure goes along",
            ["swap-coil@row-6=row-5", "response=....FP"],
        ),
        (
            "coil-resistance@row-6/valve",
            "The coil had no way through, or many times its resistance.",
            ["coil-resistance@row-6=OL"],
        ),
        ("coil-resistance@row-6/valve", "good", ["coil-resistance@row-6=8ohm"]),
        ("look-leak@row-6/valve", "good", ["look-leak@row-6/valve=no"]),
    ],
)
def test_supposing_is_as_good_as_typing(act: str, result: str, typed: list[str]) -> None:
    stated = RESPONSE if typed[-1].startswith("response") else ()
    really = ranked("mounted-6", *STORY, *typed, *stated)
    assert beliefs(after(act, result)) == pytest.approx(beliefs(really), abs=1e-9)


@pytest.mark.parametrize("passes", [True, False])
def test_a_remedy_is_proved_by_the_law_of_total_probability(passes: bool) -> None:
    """It works with its chance, and then its modes are hidden from the check afterwards."""
    kind = before().evidence.model.machine.parts["row-6/valve"]
    fixes = kind.remedy("replace-coil").fixes
    model = before().evidence.model
    coil = frozenset(model.flat("row-6/valve", mode) for mode in ("coil_open", "coil_shorted"))
    first = Made("response", {row: row == 6 for row in range(1, 7)}, {})
    known = joint_chance(before(), [first])
    cured, left = (
        joint_chance(before(), [first, Made("response", {6: not passes}, {}, hidden)]) / known
        for hidden in (coil, frozenset[int]())
    )
    result = "passes" if passes else "fails again"
    shown = chance(before(), after("replace-coil@row-6/valve", result))
    assert shown == pytest.approx(fixes * cured + (1 - fixes) * left, rel=1e-6)


@pytest.mark.parametrize("fails", [True, False])
def test_a_rerun_is_as_probable_as_both_runs_by_the_first(fails: bool) -> None:
    first = Made("response", {row: row == 6 for row in range(1, 7)}, {})
    both = joint_chance(before(), [first, Made("response", {6: fails}, {})])
    shown = chance(before(), after("response@6", "fails again" if fails else "passes"))
    assert shown == pytest.approx(both / joint_chance(before(), [first]), rel=1e-6)


def test_an_answer_rules_a_circumstance_out_or_makes_it_known() -> None:
    ranking = ranked("mounted-6", "response=FFFFFF", "oil=54C", "engine=on")
    problem = TroubleshootingProblem(ranking, fault_groups(ranking)[0])
    act = next(one for one, _ in problem.tests if one.id == "ask:bleed-hose@1")
    fitted, stowed = (what_if(ranking, act, outcome) for outcome in act.outcomes)
    name = "circumstances/bleed-hose@1"
    assert beliefs(fitted)[name] > beliefs(ranking)[name] > 0
    assert name not in beliefs(stowed)


def test_supposing_leaves_what_is_known_alone() -> None:
    runs, shown = before().evidence.case.runs, beliefs(before())
    after("replace-coil@row-6/valve", "passes")
    assert (before().evidence.case.runs, beliefs(before())) == (runs, shown)
