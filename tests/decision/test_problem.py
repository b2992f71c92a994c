"""A problem that does not fit together is refused, everything wrong with it at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from diagnose.decision.belief import Bound, start
from diagnose.decision.problem import ANY, DecisionProblem, Repair, Test
from diagnose.errors import FileProblems
from tests.decision.worlds import random_problem

GOOD = random_problem(0)


@pytest.mark.parametrize(
    ("wrong", "where"),
    [
        ({"prior": np.array([0.5, 0.5, 0.5, -0.5])}, "prior"),
        ({"prior": np.full(4, 0.2)}, "prior"),
        ({"change": np.ones((2, 2))}, "change"),
        ({"landing": np.full((2, 2), 2)}, "landing"),
        ({"tests": (Test("odd", 1.0, 0, np.full((4, 2), 0.4)),)}, "test odd"),
        ({"tests": (Test("short", 1.0, 0, np.full((3, 2), 0.5)),)}, "test short"),
        ({"tests": (Test("away", 1.0, 2, np.full((4, 2), 0.5)),)}, "test away"),
        ({"repairs": (replace(GOOD.repairs[0], id="r", fixes=np.full(4, 2.0)),)}, "repair r"),
        ({"repairs": (replace(GOOD.repairs[0], id="r", proof_setup=9),)}, "proof of repair r"),
    ],
)
def test_what_is_wrong_is_named(wrong: dict[str, object], where: str) -> None:
    with pytest.raises(FileProblems, match=f"^{where}: expected"):
        replace(GOOD, **wrong)


def test_all_that_is_wrong_is_named_at_once() -> None:
    with pytest.raises(FileProblems) as caught:
        replace(GOOD, prior=np.full(4, 0.2), change=np.ones((2, 2)))
    assert len(caught.value.problems) == 2


def test_a_set_up_is_reached_by_the_quickest_way() -> None:
    change = np.array([[0.0, 9.0, 2.0], [1.0, 0.0, 1.0], [1.0, 3.0, 0.0]])
    problem = DecisionProblem(np.ones(1), (), (), change, 1.0)
    assert problem.changes.tolist() == [[0.0, 5.0, 2.0], [1.0, 0.0, 1.0], [1.0, 3.0, 0.0]]


def test_what_lasts_is_paid_for_once() -> None:
    """A cold workshop is 0, a heated one 1; nobody cools it again, and heating it costs 9."""
    heated = Test("in the warm", 2.0, 1, np.ones((1, 1)))
    repair = Repair("anywhere", 3.0, 0, np.ones(1), 1.0, 0)
    change, landing = np.array([[0.0, 9.0], [0.0, 0.0]]), np.array([[0, 1], [1, 1]])
    problem = DecisionProblem(np.ones(1), (heated,), (repair,), change, 50.0, landing=landing)
    assert problem.test_minutes.tolist() == [[11.0], [2.0]]
    assert problem.repair_setups.tolist() == [[0], [1]]
    assert problem.repair_minutes.tolist() == [[4.0], [4.0]]


def test_a_repair_that_nothing_needs_makes_no_plan_seem_shorter() -> None:
    """One hose that is cured 3 times in 4: 9 + 1 minutes, and 60 for handing over in a quarter."""
    hose = Repair("hose", 9.0, ANY, np.array([0.75]), 1.0, ANY)
    other = Repair("valve", 19.0, ANY, np.array([0.0]), 1.0, ANY)
    for repairs in ((hose,), (hose, other)):
        problem = DecisionProblem(np.ones(1), (), repairs, np.zeros((1, 1)), 60.0)
        assert Bound(problem).minutes(start(problem, problem.prior, 0)).tolist() == [10 + 60 / 4]
