"""The six states and five tests used to explain AND/OR test sequencing.

K. R. Pattipati and M. G. Alexandridis (1990), IEEE Trans. SMC 20(4):872-887, and V. Raghavan,
M. Shakeri and K. R. Pattipati (1999), IEEE Trans. SMC-A 29(1):11-26 and 29(2):153-163. Table and
optimum 2.18 as remembered from the publications; all other figures recomputed from the table.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest

from diagnose.decision import cover
from diagnose.decision.problem import ANY, DecisionProblem, Test
from tests.oracles.isolation import (
    Setups,
    Split,
    greedy_test_tree,
    optimal_test_tree,
    tree_depths,
)
from tests.oracles.policy import policy_tree, tree_minutes

STATES = [
    (0, 0, 0, 0, 0),
    (0, 1, 0, 0, 1),
    (0, 0, 1, 1, 0),
    (1, 0, 0, 1, 1),
    (1, 1, 0, 0, 0),
    (1, 1, 1, 1, 0),
]
PRIOR = [Fraction(p, 100) for p in (70, 1, 2, 10, 5, 12)]
UNIT = [1] * 5
COSTS = [
    (UNIT, "2.18", "2.86"),
    ([1, 2, 3, 1, 2], "3.18", "3.86"),
    ([2, 1, 1, 1, 1], "2.18", "2.18"),
]
SMALLEST = ["123", "124", "135", "145", "235", "245"]


@pytest.mark.parametrize(("cost", "optimum", "greedy"), COSTS)
def test_the_optimum_is_2_18_and_greedy_costs_more(cost: list, optimum: str, greedy: str) -> None:
    assert optimal_test_tree(PRIOR, STATES, cost)[0] == Fraction(optimum)
    assert greedy_test_tree(PRIOR, STATES, cost)[0] == Fraction(greedy)


def cost_with_root(test: int, cost: list[int]) -> Fraction:
    total = cost[test] * sum(PRIOR)
    for outcome in (0, 1):
        left = [h for h, row in enumerate(STATES) if row[test] == outcome]
        rest = optimal_test_tree([PRIOR[h] for h in left], [STATES[h] for h in left], cost)
        total += rest[0]
    return total


@pytest.mark.parametrize(
    ("cost", "costs"),
    [
        (UNIT, ["2.86", "2.18", "2.82", "2.18", "2.89"]),
        ([2, 1, 1, 1, 1], ["3.86", "2.18", "2.82", "2.18", "2.89"]),
    ],
)
def test_every_first_test_has_its_price(cost: list[int], costs: list[str]) -> None:
    assert [cost_with_root(t, cost) for t in range(5)] == [Fraction(c) for c in costs]


def test_the_best_first_test_is_the_second_or_the_fourth() -> None:
    tree = optimal_test_tree(PRIOR, STATES, UNIT)[1]
    assert isinstance(tree, Split)
    assert tree.test in {1, 3}
    assert sum(PRIOR[h] * depth for (h,), depth in tree_depths(tree).items()) == Fraction("2.18")


def test_once_a_fault_is_known_to_exist_2_2_tests_find_it() -> None:
    prior = [p / Fraction(30, 100) for p in PRIOR[1:]]
    assert optimal_test_tree(prior, STATES[1:], UNIT)[0] == Fraction("2.2")


def test_six_sets_of_three_tests_separate_all_and_none_of_two() -> None:
    separates = cover.separated_pairs(STATES)
    complete = [
        "".join(str(t + 1) for t in some)
        for size in (1, 2, 3)
        for some in combinations(range(5), size)
        if separates[list(some)].any(axis=0).all()
    ]
    assert complete == SMALLEST
    found = cover.cheapest_cover(separates, UNIT)
    assert found.optimal
    assert "".join(str(t + 1) for t in found.tests) in SMALLEST


def test_two_tests_leave_ambiguity_groups() -> None:
    two = [row[:2] for row in STATES]
    groups = [(0, 2), (1,), (3,), (4, 5)]
    assert cover.ambiguity_groups(cover.separated_pairs(two), 6) == groups
    assert sorted(tree_depths(optimal_test_tree(PRIOR, two, [1, 1])[1])) == groups


def test_looking_for_most_bits_per_minute_is_the_greedy_tree() -> None:
    table = np.array(STATES)
    tests = tuple(
        Test(f"t{t + 1}", 1.0, ANY, np.stack([1.0 - table[:, t], table[:, t]], axis=1))
        for t in range(5)
    )
    prior = np.array([float(p) for p in PRIOR])
    problem = DecisionProblem(prior, tests, (), np.zeros((1, 1)), 100.0)
    tree = policy_tree(problem, prior, 0, goal="isolate", least=0.0)
    assert tree_minutes(tree) == pytest.approx(2.86)


def least(left: frozenset[int], setup: int, world: tuple) -> float:
    """The same recursion over sets of hypotheses, written out plainly."""
    prior, outcomes, cost, setups = world
    ways = [0.0] if len({tuple(outcomes[h]) for h in left}) == 1 else []
    for t, wanted in enumerate(setups.wanted):
        parts = {outcomes[h][t] for h in left}
        after = setup if wanted == ANY else wanted
        if len(parts) > 1:
            total = (cost[t] + setups.change[setup][after]) * sum(prior[h] for h in left)
            for part in parts:
                total += least(frozenset(h for h in left if outcomes[h][t] == part), after, world)
            ways.append(total)
    return min(ways)


@pytest.mark.parametrize("seed", range(12))
def test_changes_of_set_up_are_paid_on_the_way(seed: int) -> None:
    rng = np.random.default_rng(seed)
    prior, cost = rng.dirichlet(np.ones(6)).tolist(), rng.uniform(1, 5, 5).tolist()
    outcomes = rng.integers(0, 3, (6, 5)).tolist()
    setups = Setups(rng.integers(-1, 2, 5).tolist(), [[0.0, 4.0], [2.0, 0.0]], 1)
    found = optimal_test_tree(prior, outcomes, cost, setups)[0]
    expected = least(frozenset(range(6)), 1, (prior, outcomes, cost, setups))
    assert found == pytest.approx(expected)
    assert greedy_test_tree(prior, outcomes, cost, setups)[0] >= found - 1e-12
