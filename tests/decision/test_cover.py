"""Test cover, as defined by B. V. Halldórsson, M. M. Halldórsson and R. Ravi (2001), ESA.

Their guarantee for greedy is 1 + 2 ln n. The two sets of items are recomputed from their statement.
"""

from __future__ import annotations

from itertools import combinations
from math import log

import numpy as np
import pytest

from diagnose.decision import cover
from diagnose.decision.problem import ANY

EASY = ["5678", "3478", "2468", "123", "1", "8", "45"]
TRAP = ["16789A", "1469A", "468A", "1456", "124678"]


def separates(tests: list[str], items: str) -> np.ndarray:
    return cover.separated_pairs([[int(item in test) for test in tests] for item in items])


def newly_separated(table: np.ndarray, order: tuple[int, ...]) -> list[int]:
    seen = [table[list(order[:place])].any(axis=0).sum() for place in range(len(order) + 1)]
    return np.diff(seen).tolist()


def test_greedy_and_optimum_agree_on_the_easy_items() -> None:
    table = separates(EASY, "12345678")
    assert cover.cheapest_cover(table, [1] * 7) == cover.Cover((0, 1, 2), 3.0, True, 1.0)
    greedy = cover.greedy_cover(table, [1] * 7)
    assert newly_separated(table, greedy) == [16, 8, 4]


def test_greedy_takes_five_tests_where_four_do() -> None:
    table = separates(TRAP, "123456789A")
    assert table.sum(axis=1).tolist() == [24, 25, 24, 24, 24]
    greedy = cover.greedy_cover(table, [1] * 5)
    assert greedy == (1, 4, 2, 0, 3)
    assert newly_separated(table, greedy) == [25, 12, 5, 2, 1]
    assert cover.cheapest_cover(table, [1] * 5) == cover.Cover((0, 2, 3, 4), 4.0, True, 1.0)


def world(seed: int) -> tuple:
    rng = np.random.default_rng(seed)
    table = cover.separated_pairs(rng.integers(0, 2, (7, 8)))
    return table, rng.uniform(1, 9, 8), rng.integers(ANY, 3, 8), rng.uniform(0, 12, 3)


def price(some: tuple[int, ...], cost: np.ndarray, setup: np.ndarray, paid: np.ndarray) -> float:
    setups = {int(setup[t]) for t in some} - {ANY}
    return float(cost[list(some)].sum() + sum(paid[s] for s in setups))


def cheapest(table: np.ndarray, *prices: np.ndarray) -> float:
    whole = table.any(axis=0)
    choices = (some for size in range(9) for some in combinations(range(8), size))
    return min(
        price(some, *prices) for some in choices if (table[list(some)].any(axis=0) == whole).all()
    )


@pytest.mark.parametrize("seed", range(25))
def test_a_set_up_is_paid_once_and_no_choice_is_cheaper(seed: int) -> None:
    table, *prices = world(seed)
    found = cover.cheapest_cover(table, *prices)
    assert found.optimal
    assert found.minutes == pytest.approx(cheapest(table, *prices))
    assert found.minutes == pytest.approx(price(found.tests, *prices))
    assert (table[list(found.tests)].any(axis=0) == table.any(axis=0)).all()


@pytest.mark.parametrize("seed", range(25))
def test_a_search_cut_short_says_so_and_its_guarantee_holds(seed: int) -> None:
    table, *prices = world(seed)
    found = cover.cheapest_cover(table, *prices, nodes=1)
    optimum = cheapest(table, *prices)
    assert found.optimal is (found.guarantee == 1.0)
    assert optimum - 1e-9 <= found.minutes <= optimum * found.guarantee + 1e-9


def test_greedy_with_equal_costs_is_promised_1_plus_2_ln_n() -> None:
    rng = np.random.default_rng(3)
    table = cover.separated_pairs(rng.integers(0, 2, (30, 40)))
    found = cover.cheapest_cover(table, [1] * 40, nodes=1)
    assert not found.optimal
    assert found.guarantee <= 1 + 2 * log(30) + 1e-9


def test_nothing_to_separate_needs_no_test() -> None:
    assert cover.cheapest_cover(cover.separated_pairs([[0]]), [1.0]).tests == ()


@pytest.mark.parametrize("hypotheses", [2, 4, 12])
def test_the_guarantee_of_tests_that_cost_the_same_is_the_published_one(hypotheses: int) -> None:
    prices = cover._Prices((3.0, 3.0), (ANY, ANY), ())
    pairs = hypotheses * (hypotheses - 1) // 2
    assert cover._theirs(prices, pairs) == pytest.approx(1 + 2 * log(hypotheses))
