"""The order of repairs and inspections.

J. Kalagnanam and M. Henrion (1988), UAI-88 (arXiv 1304.2362). The car that will not start and
its figures are invented; recomputed from their statement.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from diagnose.decision.lookahead import decide
from diagnose.decision.problem import ANY, DecisionProblem, Repair
from diagnose.decision.repair_order import (
    expected_cost,
    inspection_order,
    p_over_c,
    repair_minutes,
    repair_order,
)
from tests.decision.worlds import large_problem, random_problem

CAUSES = ["battery", "fuel", "ignition", "starter", "plugs"]
PROBABILITY = [0.35, 0.20, 0.20, 0.15, 0.10]
COST = [4, 1, 9, 12, 5]
REPLACEMENT = [90, 30, 150, 200, 40]
ORDER = ["fuel", "battery", "ignition", "plugs", "starter"]


def sequential(order: list[int], probability: list, cost: list) -> float:
    """Each paid for in turn until the one at fault is reached, by enumeration of the fault."""
    return sum(
        probability[fault] * sum(cost[one] for one in order[: order.index(fault) + 1])
        for fault in order
    )


def last_free(order: list[int], probability: list, cost: list) -> float:
    spared = [*cost]
    spared[order[-1]] = 0
    return sequential(order, probability, spared)


def whole_numbers(seed: int) -> tuple[list[int], list[int]]:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 7))
    return rng.integers(1, 20, count).tolist(), rng.integers(1, 20, count).tolist()


def test_probability_per_cost_is_the_best_of_all_orders() -> None:
    for seed in range(200):
        weight, cost = whole_numbers(seed)
        found = sequential(p_over_c(weight, cost), weight, cost)
        assert found == min(
            sequential(list(o), weight, cost) for o in permutations(range(len(cost)))
        )


def test_each_candidate_tried_as_the_last_one_is_the_best_of_all_orders() -> None:
    lost = 0
    for seed in range(200):
        weight, cost = whole_numbers(seed)
        best = min(last_free(list(o), weight, cost) for o in permutations(range(len(cost))))
        assert last_free(inspection_order(weight, cost, True), weight, cost) == best
        lost += last_free(p_over_c(weight, cost), weight, cost) > best
    assert lost > 20


def test_the_car_is_searched_for_11_3_and_for_9_5_with_the_last_inferred() -> None:
    order = inspection_order(PROBABILITY, COST, infer_last=False)
    assert [CAUSES[i] for i in order] == ORDER
    assert inspection_order(PROBABILITY, COST, infer_last=True) == order
    assert sequential(order, PROBABILITY, COST) == pytest.approx(11.3)
    assert last_free(order, PROBABILITY, COST) == pytest.approx(9.5)
    replaced = sum(p * c for p, c in zip(PROBABILITY, REPLACEMENT, strict=True))
    assert sequential(order, PROBABILITY, COST) + replaced == pytest.approx(112.8)


def test_the_last_one_inferred_turns_the_order_round() -> None:
    p, c = [0.9, 0.1], [10, 5]
    assert inspection_order(p, c, infer_last=False) == [0, 1]
    assert inspection_order(p, c, infer_last=True) == [1, 0]
    assert (last_free([0, 1], p, c), last_free([1, 0], p, c)) == (10, 5)
    assert [sequential(o, p, c) for o in ([0, 1], [1, 0])] == pytest.approx([10.5, 14])


def test_expected_cost_adds_what_is_paid_while_something_is_wrong() -> None:
    def still_bad(done: object) -> float:
        return 1 - sum(PROBABILITY[i] for i in done)

    assert expected_cost(p_over_c(PROBABILITY, COST), COST, still_bad) == pytest.approx(11.3)


def single_setup(seed: int) -> DecisionProblem:
    rng = np.random.default_rng(seed)
    fixes = rng.uniform(0.5, 1, 5) * np.eye(5)
    repairs = tuple(
        Repair(f"r{r}", float(rng.uniform(1, 30)), 0, fixes[r], float(rng.uniform(0, 4)), ANY)
        for r in range(5)
    )
    return DecisionProblem(
        rng.dirichlet(np.ones(5)), (), repairs, np.zeros((1, 1)), float(rng.uniform(30, 80))
    )


def plan_cost(problem: DecisionProblem, order: tuple[int, ...], setup: int) -> float:
    """Expected minutes of repairs in this order and then the last resort, one world at a time."""
    total = 0.0
    for h, prior in enumerate(problem.prior):
        state, here = float(prior), setup
        chance, needed = 1.0, {r for r in range(len(problem.repairs)) if problem.fixes[h, r] > 0}
        for r in order:
            total += state * problem.repair_minutes[here, r]
            here = int(problem.repair_setups[here, r])
            if r in needed:
                needed.discard(r)
                chance *= problem.fixes[h, r]
                state -= 0.0 if needed else float(prior) * chance
        total += state * problem.last_resort
    return total


@pytest.mark.parametrize("seed", range(30))
def test_in_one_set_up_no_order_and_no_cut_off_is_cheaper(seed: int) -> None:
    problem = single_setup(seed)
    orders = [o for size in range(6) for o in permutations(range(5), size)]
    best = min(plan_cost(problem, order, 0) for order in orders)
    assert repair_order(problem, problem.prior, 0).minutes == pytest.approx(best)


@pytest.mark.parametrize("seed", range(30))
def test_a_plan_costs_what_it_says(seed: int) -> None:
    problem = random_problem(seed, 5)
    plan = repair_order(problem, problem.prior, 1)
    assert plan.cutoff == len(plan.order)
    assert plan.minutes == pytest.approx(plan_cost(problem, plan.order, 1))


@pytest.mark.parametrize("proofs", [1, 2])
@pytest.mark.parametrize("several", [0, 20])
def test_many_beliefs_at_once_cost_what_each_costs_alone(proofs: int, several: int) -> None:
    problem = large_problem(5, several, proofs)
    beliefs = np.random.default_rng(2).dirichlet(np.full(80, 0.1), 30)
    found = repair_minutes(problem, beliefs, 2)
    for belief, minutes in zip(beliefs, found, strict=True):
        plan = repair_order(problem, belief, 2)
        assert plan.minutes == pytest.approx(minutes)
        own = DecisionProblem(belief, (), problem.repairs, problem.change, problem.last_resort)
        assert plan.minutes == pytest.approx(plan_cost(own, plan.order, 2))


def test_without_a_last_resort_all_repairs_are_tried() -> None:
    repairs = tuple(Repair(f"r{r}", 10.0, 0, np.eye(2)[r], 1.0, 0) for r in range(2))
    problem = DecisionProblem(np.array([0.4, 0.6]), (), repairs, np.zeros((1, 1)), np.inf)
    plan = repair_order(problem, problem.prior, 0)
    assert plan.order == (1, 0)
    assert plan.minutes == pytest.approx(11 + 0.4 * 11)


def test_alternatives_are_tried_in_turn_and_counted_once() -> None:
    """One fault, two remedies: 0.4 × 10 min first, then 0.9 × 50 min, else hand over at 300."""
    problem = DecisionProblem(
        prior=np.array([1.0]),
        tests=(),
        repairs=(
            Repair("clean", 10, 0, np.array([0.4]), 0, 0),
            Repair("replace", 50, 0, np.array([0.9]), 0, 0),
        ),
        change=np.zeros((1, 1)),
        last_resort=300,
        any_of=np.array([True]),
    )
    by_hand = 10 + 0.6 * 50 + 0.6 * 0.1 * 300
    assert repair_order(problem, problem.prior, 0).minutes == pytest.approx(by_hand)
    made = decide(problem, problem.prior, 0, depth=3)
    assert made.value == pytest.approx(by_hand)
    assert made.lower <= by_hand
