"""The car that will not start, several faults allowed.

Structure and numbers: a teaching network in the public repository arianacarnielli/P-androide
(code/simpleCar2.bif and its scripts). The method: D. Heckerman, J. S. Breese and K. Rommelse
(1995), Comm. ACM 38(3):49-57. All expected costs recomputed from that statement; the cost of
listening for a click is our own choice, and what no listed cause explains is one more fault
that only the service mends.
"""

from __future__ import annotations

from itertools import product
from math import prod

import numpy as np
import pytest

from diagnose.decision.lookahead import decide
from diagnose.decision.problem import ANY, DecisionProblem, Repair, Test
from diagnose.decision.repair_order import repair_order

DEAD = 0.02 * 0.99 + 0.98 * 0.01
CHARGING = 1 - (1 - 0.001) * (1 - 0.002) * (1 - 0.001)
FAULTS = {
    "batteryFlat": 1 - (1 - DEAD) * (1 - CHARGING),
    "noOil": 0.01,
    "tankEmpty": 0.006,
    "fuelLineBlocked": 0.004,
    "starterBroken": 0.002,
    "unknown": 0.001,
}
REPAIRS = {
    "batteryFlat": 200,
    "noOil": 100,
    "tankEmpty": 80,
    "fuelLineBlocked": 150,
    "starterBroken": 40,
}
SERVICE = 500
TESTS = {
    "lightsOk": (2, "batteryFlat", 0.0, 0.98),
    "dipstickOk": (7, "noOil", 0.001, 0.999),
    "clicking": (1, "starterBroken", 0.98, 0.01),
}
ORDER = ["batteryFlat", "noOil", "tankEmpty", "starterBroken", "fuelLineBlocked"]

SETS = [
    frozenset(name for name, there in zip(FAULTS, states, strict=True) if there)
    for states in product([False, True], repeat=6)
][1:]
JOINT = np.array([prod(p if f in some else 1 - p for f, p in FAULTS.items()) for some in SETS])


def car() -> DecisionProblem:
    prior = JOINT / JOINT.sum()
    tests = tuple(
        Test(name, cost, ANY, np.array([[p, 1 - p] for p in chances(part, there, absent)]))
        for name, (cost, part, there, absent) in TESTS.items()
    )
    repairs = tuple(
        Repair(name, cost, ANY, mendable(name), 0.0, ANY) for name, cost in REPAIRS.items()
    )
    return DecisionProblem(prior, tests, repairs, np.zeros((1, 1)), SERVICE)


def chances(part: str, there: float, absent: float) -> list[float]:
    return [there if part in some else absent for some in SETS]


def mendable(name: str) -> np.ndarray:
    """A set with the unknown fault is beyond any repair."""
    return np.array([float(name in some and "unknown" not in some) for some in SETS])


def test_the_car_will_not_start_as_often_as_stated() -> None:
    assert FAULTS["batteryFlat"] == pytest.approx(0.0334767499, abs=1e-10)
    assert JOINT.sum() == pytest.approx(0.0555276406, abs=1e-10)
    flat = sum(p for some, p in zip(SETS, car().prior, strict=True) if "batteryFlat" in some)
    assert flat == pytest.approx(0.602884, abs=1e-6)


def test_the_best_plan_of_repairs_costs_287_27() -> None:
    problem = car()
    plan = repair_order(problem, problem.prior, 0)
    assert [problem.repairs[r].id for r in plan.order] == ORDER
    assert plan.minutes == pytest.approx(287.268840, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "cost"),
    [("lightsOk", 211.434188), ("dipstickOk", 237.065708), ("clicking", 272.571306)],
)
def test_looking_before_repairing_costs(name: str, cost: float) -> None:
    problem = car()
    ranked = decide(problem, problem.prior, 0, depth=1).ranked
    found = {one.act.id: one.value for one in ranked}
    assert found[name] == pytest.approx(cost, abs=1e-6)


def test_the_lights_are_looked_at_first() -> None:
    problem = car()
    assert decide(problem, problem.prior, 0, depth=1).act.id == "lightsOk"


@pytest.mark.parametrize(
    ("test", "outcome", "probability", "repairs"),
    [
        (0, 0, 0.389173, 212.400039),
        (0, 1, 0.610827, 207.544569),
        (1, 0, 0.819270, 255.919260),
        (1, 1, 0.180730, 112.868814),
        (2, 0, 0.044938, 111.485165),
        (2, 1, 0.955062, 279.103672),
    ],
)
def test_what_an_observation_leaves_to_repair(
    test: int, outcome: int, probability: float, repairs: float
) -> None:
    problem = car()
    belief = problem.prior * problem.tests[test].likelihood[:, outcome]
    assert belief.sum() == pytest.approx(probability, abs=1e-6)
    plan = repair_order(problem, belief / belief.sum(), 0)
    assert plan.minutes == pytest.approx(repairs, abs=1e-6)
