"""The best next measurement by entropy.

J. de Kleer and B. C. Williams (1987), "Diagnosing multiple faults", AIJ 32(1):97-130: three
multipliers, two adders. Published: measure X first. The gains, and those of the chain of
inverters in the same spirit, are recomputed.
"""

from __future__ import annotations

from itertools import product
from math import log

import numpy as np
import pytest

from diagnose.decision.belief import bits_per_minute, entropy, information_gain
from diagnose.decision.lookahead import decide
from diagnose.decision.problem import ANY, DecisionProblem, Test

CANDIDATES = ["A1", "M1", "A2 M2", "M2 M3"]
PREDICTED = {"X": [6, 4, 6, 6], "Y": [6, 6, 4, 4], "Z": [6, 6, 6, 8]}


def polybox() -> DecisionProblem:
    weight = np.array([(0.01 / 0.99) ** len(names.split()) for names in CANDIDATES])
    tests = tuple(
        Test(
            name, 1.0, ANY, np.array([[v == w for w in sorted(set(values))] for v in values], float)
        )
        for name, values in PREDICTED.items()
    )
    return DecisionProblem(weight / weight.sum(), tests, (), np.zeros((1, 1)), 1.0)


def test_x_is_the_best_measurement() -> None:
    problem = polybox()
    assert float(entropy(problem.prior)) == pytest.approx(1.080793, abs=1e-6)
    gains = information_gain(problem, problem.prior)
    assert gains == pytest.approx([0.999928, 0.080793, 0.045415], abs=1e-6)
    left = float(entropy(problem.prior)) - gains
    assert left == pytest.approx([0.080865, 1.000000, 1.035378], abs=1e-6)
    assert decide(problem, problem.prior, 0, goal="isolate").act.id == "X"


def inverters(count: int) -> DecisionProblem:
    """A chain whose output is wrong; a probe between a good and a bad part may show anything."""
    sets = [some for some in product([0, 1], repeat=count) if any(some)]
    weight = np.array([0.01 ** sum(some) * 0.99 ** (count - sum(some)) for some in sets])
    tests = []
    for node in range(1, count):
        good = [1.0 if not any(s[:node]) else 0.5 if any(s[node:]) else 0.0 for s in sets]
        tests.append(Test(str(node), 1.0, ANY, np.array([[g, 1 - g] for g in good])))
    return DecisionProblem(weight / weight.sum(), tuple(tests), (), np.zeros((1, 1)), 1.0)


@pytest.mark.parametrize(
    ("count", "whole", "left"),
    [
        (4, 1.470937, [0.913813, 0.784756, 0.913813]),
        (5, 1.722466, [1.227608, 1.057809, 1.057809, 1.227608]),
    ],
)
def test_a_chain_is_probed_in_the_middle(count: int, whole: float, left: list[float]) -> None:
    problem = inverters(count)
    nats = float(entropy(problem.prior)) * log(2)
    assert nats == pytest.approx(whole, abs=1e-6)
    gains = information_gain(problem, problem.prior) * log(2)
    assert nats - gains == pytest.approx(left, abs=1e-6)


def test_gain_is_what_the_posteriors_lose() -> None:
    problem = inverters(4)
    for test, gain in zip(problem.tests, information_gain(problem, problem.prior), strict=True):
        joint = problem.prior[:, None] * test.likelihood
        left = sum(column.sum() * entropy(column) for column in joint.T)
        assert gain == pytest.approx(float(entropy(problem.prior) - left))


def test_minutes_include_the_change_of_set_up() -> None:
    sure = np.eye(2)
    tests = (Test("here", 4.0, 0, sure), Test("there", 1.0, 1, sure), Test("any", 5.0, ANY, sure))
    problem = DecisionProblem(np.full(2, 0.5), tests, (), np.array([[0.0, 7.0], [1.0, 0.0]]), 1.0)
    assert bits_per_minute(problem, problem.prior, 0) == pytest.approx([1 / 4, 1 / 8, 1 / 5])
    assert bits_per_minute(problem, problem.prior, 1) == pytest.approx([1 / 5, 1, 1 / 5])
