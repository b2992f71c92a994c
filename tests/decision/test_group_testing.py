"""Groups of rows tested together.

D.-Z. Du and F. K. Hwang (2000), Combinatorial Group Testing and Its Applications, for the
bounds. The recursion and 4.155452 and 12.702124 for 25 items: Project Euler 352, "Blood tests",
as stored in a public repository; smaller figures recomputed with it, and with the nested
procedure of M. Sobel and P. A. Groll, which does not finish one sample before the next.
"""

from __future__ import annotations

from functools import cache
from itertools import product
from math import ceil, comb, log2, prod

import numpy as np
import pytest

from diagnose.decision.belief import entropy
from tests.oracles.isolation import optimal_test_tree, tree_depths


@pytest.mark.parametrize(("rows", "worst"), [(4, 3), (6, 3), (8, 4), (12, 4), (16, 5), (24, 5)])
def test_one_fault_or_none_is_found_within_the_information_bound(rows: int, worst: int) -> None:
    groups = range(1, rows + 1)
    outcomes = [[int(row < size) for size in groups] for row in range(rows + 1)]
    _, tree = optimal_test_tree([1] * (rows + 1), outcomes, [1] * rows)
    assert max(tree_depths(tree).values()) == worst == ceil(log2(rows + 1))


def every_group(worlds: list[tuple[int, ...]]) -> list[list[int]]:
    groups = [g for g in product([0, 1], repeat=len(worlds[0])) if any(g)]
    return [[int(any(a and b for a, b in zip(w, g, strict=True))) for g in groups] for w in worlds]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("rows", "faulty", "most"), [(3, 2, 2), (4, 2, 3), (5, 2, 4), (6, 2, 5), (5, 3, 4)]
)
def test_exactly_so_many_faults_need_as_many_tests_as_the_game_search_says(
    rows: int, faulty: int, most: int
) -> None:
    worlds = [w for w in product([0, 1], repeat=rows) if sum(w) == faulty]
    outcomes = every_group(worlds)
    cost, tree = optimal_test_tree([1] * len(worlds), outcomes, [1] * len(outcomes[0]))
    assert cost >= len(worlds) * log2(len(worlds)) - 1e-9
    assert max(tree_depths(tree).values()) >= most >= ceil(log2(comb(rows, faulty)))


def nested(rows: int, p: float) -> float:
    """Tests when every mixed sample is resolved before any other item is touched."""
    q = 1 - p

    @cache
    def mixed(n: int) -> float:
        if n == 1:
            return 0.0
        return min(
            1
            + (1 - q**x) / (1 - q**n) * (mixed(x) + fresh(n - x))
            + (q**x - q**n) / (1 - q**n) * mixed(n - x)
            for x in range(1, n)
        )

    @cache
    def fresh(n: int) -> float:
        if n == 0:
            return 0.0
        return min(1 + (1 - q**x) * mixed(x) + fresh(n - x) for x in range(1, n + 1))

    return fresh(rows)


def test_the_recursion_gives_the_published_figures() -> None:
    assert nested(25, 0.02) == pytest.approx(4.155452, abs=1e-6)
    assert nested(25, 0.10) == pytest.approx(12.702124, abs=1e-6)


def freely_nested(rows: int, p: float) -> float:
    """The same when what is left of a mixed sample may go into new ones (Sobel and Groll)."""
    q = 1 - p

    @cache
    def least(mixed: int, n: int) -> float:
        if mixed == 0 and n == 0:
            return 0.0
        if mixed == 1:
            return least(0, n - 1)
        return min(1 + after(mixed, n, x) for x in range(1, mixed or n + 1))

    def after(mixed: int, n: int, x: int) -> float:
        if mixed == 0:
            return q**x * least(0, n - x) + (1 - q**x) * least(x, n)
        clean = (q**x - q**mixed) / (1 - q**mixed)
        return clean * least(mixed - x, n - x) + (1 - clean) * least(x, n)

    return least(0, rows)


def test_leftovers_put_into_new_samples_save_tests() -> None:
    assert freely_nested(25, 0.02) == pytest.approx(3.732977, abs=1e-6)
    assert freely_nested(25, 0.10) == pytest.approx(11.936653, abs=1e-6)


@pytest.mark.parametrize("rows", [2, 3])
@pytest.mark.parametrize("p", [0.01, 0.02, 0.1, 0.2, 0.3, 0.45])
def test_two_rows_are_sorted_as_by_the_recursion_and_three_no_worse(rows: int, p: float) -> None:
    worlds = list(product([0, 1], repeat=rows))
    prior = [prod(p if fault else 1 - p for fault in world) for world in worlds]
    outcomes = every_group(worlds)
    cost, _ = optimal_test_tree(prior, outcomes, [1.0] * len(outcomes[0]))
    assert float(entropy(np.array(prior))) <= cost
    assert cost <= freely_nested(rows, p) + 1e-9 <= nested(rows, p) + 2e-9
    assert rows == 3 or cost == pytest.approx(nested(rows, p))
