"""What the search does first; the problem is invented."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.decision import belief
from diagnose.decision.belief import start
from diagnose.decision.lookahead import decide, decide_from
from diagnose.decision.problem import ANY, DecisionProblem, Repair, Test

SIDES = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.0, 1.0]])
ENDS = SIDES[[0, 2, 1, 3]]


@pytest.mark.parametrize("telling_first", [True, False])
def test_of_two_tests_that_are_both_made_the_more_telling_comes_first(telling_first: bool) -> None:
    tests = (Test("sides", 1.0, ANY, SIDES), Test("ends", 1.0, ANY, ENDS))
    repairs = tuple(
        Repair(f"r{h}", 100.0, ANY, fixes, 1.0, ANY) for h, fixes in enumerate(np.eye(4))
    )
    problem = DecisionProblem(
        prior=np.array([0.48, 0.02, 0.48, 0.02]),
        tests=tests if telling_first else tests[::-1],
        repairs=repairs,
        change=np.zeros((1, 1)),
        last_resort=1000.0,
    )
    found = decide(problem, problem.prior, 0, depth=2)
    assert found.act.id == "sides"
    assert found.ranked[1].act.id == "ends"
    assert found.ranked[1].value == pytest.approx(found.value, abs=1e-9)


def test_of_many_tests_the_telling_one_is_followed() -> None:
    """Both sure tests, then the one repair that is due: 1 + 1 + 100 + 1 minutes."""
    shades = np.array([0.9, 0.1]) + np.outer([0, 1, 2, 3], [-1e-3, 1e-3])
    dull = tuple(Test(f"dull{n}", 1.0, ANY, shades) for n in range(30))
    sure = Test("sides", 1.0, ANY, SIDES), Test("ends", 1.0, ANY, ENDS)
    repairs = tuple(
        Repair(f"r{h}", 100.0, ANY, fixes, 1.0, ANY) for h, fixes in enumerate(np.eye(4))
    )
    problem = DecisionProblem(np.full(4, 0.25), (*dull, *sure), repairs, np.zeros((1, 1)), 1000.0)
    found = decide(problem, problem.prior, 0, depth=2, seconds=60.0)
    assert found.act.id in ("sides", "ends")
    assert found.value == pytest.approx(103.0)


def test_how_likely_it_was_to_come_to_this_changes_nothing_of_what_is_best_now() -> None:
    """After a test with one result in two, all is as if one began with what is believed then."""
    sides = Test("sides", 1.0, ANY, SIDES)
    repairs = tuple(
        Repair(f"r{h}", 100.0, ANY, fixes, 1.0, ANY) for h, fixes in enumerate(np.eye(4))
    )
    prior = np.array([0.3, 0.2, 0.3, 0.2])
    problem = DecisionProblem(prior, (sides,), repairs, np.zeros((1, 1)), 1000.0)
    after, _, _ = belief.tested(problem, start(problem, prior, 0), np.array([0]))
    came, began = (
        decide_from(problem, here, "restore", 2, 8, np.inf)
        for here in (after.at(np.array([0])), start(problem, np.array([0.6, 0.4, 0.0, 0.0]), 0))
    )
    assert came.act == began.act
    assert came.value == pytest.approx(began.value) == pytest.approx(101 + 0.4 * 101)
    assert came.lower == pytest.approx(began.lower)
