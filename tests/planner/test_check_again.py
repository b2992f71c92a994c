"""After a repair the check is run again: over more rows only when that can prove the machine."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from diagnose.decision.lookahead import Act, decide
from diagnose.decision.problem import ANY, DecisionProblem, Repair
from diagnose.planner.candidates import rerun
from diagnose.planner.decide import (
    _as_needed,
    _check_again,
    _first_due,
    _with_check_again,
    best_choice,
    candidate_of,
)
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import TroubleshootingProblem
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, ranked

UNTOUCHED = ("first-hookup=no", "rehooked=no", "milky-oil=no", "parts-replaced=no")


def check_again(*story: str) -> str:
    """The mere check again for row 6."""
    ranking = ranked("mounted-6", *UNTOUCHED, *STEADY, *story)
    (group,) = (each for each in fault_groups(ranking) if 6 in each.rows)
    problem = TroubleshootingProblem(ranking, group)
    place = next(n for n, repair in enumerate(problem.repairs) if repair.candidate is None)
    candidate = candidate_of(problem, Act("repair", place))
    assert candidate is not None
    return candidate.id


BLED, FAILED = ("bleed=PPPPPP", *BLEED), ("response=PPPPPF", *RESPONSE)
ANOTHER = ("response=PFPPPF", *RESPONSE)


def test_the_proof_is_taken_along_when_nothing_else_fails() -> None:
    assert check_again(*BLED, *FAILED, "replace-coil@row-6=done") == "response@1-6"


def test_what_would_not_count_is_not_taken_along() -> None:
    """The bleed is due first, so a full response check would have to be made again."""
    assert check_again(*FAILED, "replace-coil@row-6=done") == "response@6"


def test_nothing_is_proven_while_another_row_still_fails() -> None:
    assert check_again(*BLED, *ANOTHER, "replace-coil@row-6=done") == "response@6"


def test_rows_that_an_upset_run_may_explain_are_one_fault_group_and_rerun_first() -> None:
    """The ends of both wings fail in a run of good circumstances: it may have been upset."""
    ranking = ranked(
        "folding-16", *STEADY, "bleed=PPPPPPPPPPPPPPPP", "response=FFPPPPPPPPPPPPFF", *RESPONSE
    )
    (group,) = fault_groups(ranking)
    assert group.rows == (1, 2, 15, 16)
    choice = best_choice(TroubleshootingProblem(ranking, group))
    assert choice.candidate is not None
    assert choice.candidate.id == "response@1-16"  # and at once all that the proof wants


def test_a_check_again_that_must_pass_leaves_nothing_to_follow() -> None:
    again = Repair("again", 2.0, ANY, np.ones(1), 3.0, ANY)
    finite = DecisionProblem(np.ones(1), (), (again,), np.zeros((1, 1)), 300.0)
    problem = cast(TroubleshootingProblem, SimpleNamespace(finite=finite, setup=0))
    followed = _with_check_again(problem, decide(finite, finite.prior, 0), 2, 1.0)
    assert (followed.act.id, followed.value) == ("again", 5.0)


def test_following_the_check_again_leaves_every_other_act_as_it_was() -> None:
    again = Repair("again", 2.0, ANY, np.array([1.0, 0.0]), 3.0, ANY)
    valve = Repair("valve", 10.0, ANY, np.array([0.0, 1.0]), 3.0, ANY)
    finite = DecisionProblem(np.array([0.5, 0.5]), (), (again, valve), np.zeros((1, 1)), 300.0)
    problem = cast(TroubleshootingProblem, SimpleNamespace(finite=finite, setup=0))
    made = decide(finite, finite.prior, 0)
    followed = _with_check_again(problem, made, 2, 1.0)
    ids = [each.act.id for each in followed.ranked]
    assert sorted(ids) == sorted(each.act.id for each in made.ranked)
    others = [each for each in made.ranked if each.act.id != "again"]
    assert [each for each in followed.ranked if each.act.id != "again"] == others


@pytest.mark.parametrize(
    ("passes", "first"), [(0.0, "response@6"), (0.66, "response@6"), (0.67, "bleed@1-6")]
)
def test_the_other_check_is_taken_at_once_when_it_saves_more_than_it_may_waste(
    passes: float, first: str
) -> None:
    """The bleed hose is fitted: that saves 1 + 5 minutes of going over when row 6 is sound.

    Else all of 3 + 6 · 1.5 minutes of bleeding are for nothing; 6 p = 12 (1 − p) at p = 2/3.
    """
    ranking = ranked(
        "mounted-6", *UNTOUCHED, *STEADY, "response=PPPPPF", *RESPONSE, "bleed=.....P", *BLEED
    )
    problem = TroubleshootingProblem(ranking, fault_groups(ranking)[0])
    assert (problem.check, problem.setup_state.setup) == ("response", "bleeding")
    assert _check_again(problem, passes).id == first


def test_a_check_that_must_be_made_again_costs_what_its_further_rows_take() -> None:
    """The supply was low: rows 2 to 4 are bled again, or all six rows are, at 1.5 a row."""
    ranking = ranked("mounted-6", "bleed=PFFFPP", "supply=4bar")
    problem = TroubleshootingProblem(ranking, fault_groups(ranking)[0])
    made = decide(problem.finite, problem.finite.prior, problem.setup)
    few, all_rows = (
        _as_needed(problem, made, (), rerun(ranking.evidence, "bleed", rows, (2, 3, 4)))
        for rows in ((2, 3, 4), tuple(range(1, 7)))
    )
    again = next(each.value for each in made.ranked if each.act == Act("repair", 0, "bleed-again"))
    assert few.value == again
    assert all_rows.value - few.value == pytest.approx(3 * 1.5)
    assert all_rows.minutes - few.minutes == pytest.approx(3 * 1.5)


@pytest.mark.parametrize(
    ("remedy", "first"), [("replace-valve", "bleed"), ("replace-coil", "response")]
)
def test_what_oil_went_out_of_is_bled_first_though_it_was_bled_before(
    remedy: str, first: str
) -> None:
    ranking = ranked("mounted-6", *STEADY, *BLED, *FAILED)
    problem = TroubleshootingProblem(ranking, fault_groups(ranking)[0])
    every = (each.candidate for each in problem.repairs if each.candidate)
    candidate = next(each for each in every if each.id == f"{remedy}@row-6/valve")
    assert _first_due(problem, candidate) == first
