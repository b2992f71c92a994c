"""The cheapest tests that, all decided now, tell every pair of hypotheses apart.

The test cover problem: B. V. Halldórsson, M. M. Halldórsson and R. Ravi (2001), "On the
approximability of the minimum test collection problem". Here tests have costs, and a
set-up is paid for once, however many of the chosen tests want it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from diagnose.arrays import Bools
from diagnose.decision.problem import ANY
from diagnose.record import record
from diagnose.tolerances import COVER_NODES


@record
class Cover:
    """Tests that separate every pair that can be separated.

    Parameters
    ----------
    minutes: tests and set-ups together.
    optimal: proved that no choice is cheaper.
    guarantee: the minutes are at most this many times the optimum: 1 when optimal, otherwise
        by a lower bound of the optimum, or by 1 + 2 ln n where that is less. The latter holds
        for equal costs, no set-ups and n hypotheses (Halldórsson, Halldórsson and Ravi 2001).
    """

    tests: tuple[int, ...]
    minutes: float
    optimal: bool
    guarantee: float


def separated_pairs(outcomes: Sequence[Sequence[int]]) -> Bools:
    """(T, P) whether a sure test tells each pair of hypotheses apart; outcomes (H, T).

    Pairs are in the order of `itertools.combinations`.

    >>> separated_pairs([[0], [1], [1]]).tolist()
    [[True, True, False]]
    """
    table = np.asarray(outcomes)
    pairs = np.array(list(combinations(range(len(table)), 2)), dtype=np.intp).reshape(-1, 2)
    return np.asarray(table[pairs[:, 0]] != table[pairs[:, 1]]).T


def ambiguity_groups(separates: Bools, hypotheses: int) -> list[tuple[int, ...]]:
    """Hypotheses that no test separates from one another, in order of their first.

    >>> ambiguity_groups(separated_pairs([[0], [1], [1]]), 3)
    [(0,), (1, 2)]
    """
    group = list(range(hypotheses))
    apart: list[bool] = np.asarray(separates.any(axis=0)).tolist()
    for (a, b), told in zip(combinations(range(hypotheses), 2), apart, strict=True):
        if not told:
            low, high = sorted((group[a], group[b]))
            group = [low if one == high else one for one in group]
    return [tuple(h for h in range(hypotheses) if group[h] == g) for g in sorted(set(group))]


def cheapest_cover(
    separates: Bools,
    cost: Sequence[float],
    setup: Sequence[int] | None = None,
    setup_cost: Sequence[float] = (),
    nodes: int = COVER_NODES,
) -> Cover:
    """The cheapest tests that separate every separable pair.

    Parameters
    ----------
    separates: (T, P) whether a test separates a pair.
    cost: (T) minutes of each test.
    setup: (T) the set-up that each test wants, `ANY` for none.
    setup_cost: (S) minutes of each set-up, paid once.
    nodes: steps of branch and bound before the best found so far must do.

    >>> cheapest_cover(separated_pairs([[0, 0], [0, 1], [1, 1]]), [3, 4])
    Cover(tests=(0, 1), minutes=7.0, optimal=True, guarantee=1.0)
    """
    prices = _prices(cost, setup, setup_cost)
    first = greedy_cover(separates, cost, setup, setup_cost)
    search = _Search(prices, separates, first, nodes)
    lower = search.lower(search.pairs)
    search.extend(search.pairs, ())
    tests, minutes = tuple(sorted(search.best)), search.least
    if search.nodes > 0:
        return Cover(tests, minutes, optimal=True, guarantee=1.0)
    proved = min(minutes / lower if lower > 0 else math.inf, _theirs(prices, separates.shape[1]))
    return Cover(tests, minutes, optimal=False, guarantee=proved)


def greedy_cover(
    separates: Bools,
    cost: Sequence[float],
    setup: Sequence[int] | None = None,
    setup_cost: Sequence[float] = (),
) -> tuple[int, ...]:
    """Tests in the order in which each separates most pairs, not yet separated, per minute.

    With equal costs and no set-ups it takes at most 1 + 2 ln n times as many tests as it
    must, n being the number of hypotheses (Halldórsson, Halldórsson and Ravi 2001).

    Ten hypotheses for which it takes one test more than it must:

    >>> tests = {0, 5, 6, 7, 8, 9}, {0, 3, 5, 8, 9}, {3, 5, 7, 9}, {0, 3, 4, 5}, {0, 1, 3, 5, 6, 7}
    >>> apart = separated_pairs([[one in test for test in tests] for one in range(10)])
    >>> greedy_cover(apart, [1] * 5), cheapest_cover(apart, [1] * 5).tests
    ((1, 4, 2, 0, 3), (0, 2, 3, 4))
    """
    prices = _prices(cost, setup, setup_cost)
    covers = [_bits(np.asarray(row)) for row in separates]
    left = _bits(np.asarray(separates.any(axis=0)))
    chosen: tuple[int, ...] = ()
    while left:
        gains = [(left & pairs).bit_count() for pairs in covers]
        best = max(range(len(covers)), key=lambda t: _ratio(gains[t], prices.extra(t, chosen)))
        chosen += (best,)
        left &= ~covers[best]
    return chosen


def _theirs(prices: _Prices, pairs: int) -> float:
    """1 + 2 ln n for n hypotheses with so many pairs, where it holds."""
    alike = len(set(prices.cost)) == 1 and all(setup == ANY for setup in prices.setup)
    hypotheses = (1 + math.sqrt(1 + 8 * pairs)) / 2
    return 1 + 2 * math.log(hypotheses) if alike else math.inf


@record
class _Prices:
    cost: Sequence[float]
    setup: Sequence[int]
    setup_cost: Sequence[float]

    def extra(self, test: int, chosen: tuple[int, ...]) -> float:
        """Minutes that a test adds to those chosen.

        >>> two = _Prices([3.0, 4.0], [0, 0], [5.0])
        >>> two.extra(1, ()), two.extra(1, (0,))
        (9.0, 4.0)
        """
        wanted = self.setup[test]
        paid = wanted == ANY or any(self.setup[one] == wanted for one in chosen)
        return self.cost[test] + (0.0 if paid else self.setup_cost[wanted])

    def total(self, chosen: tuple[int, ...]) -> float:
        """Minutes of the tests chosen, each set-up paid once.

        >>> _Prices([3.0, 4.0, 1.0], [0, 0, ANY], [5.0]).total((0, 1, 2))
        13.0
        """
        return sum(self.extra(test, chosen[:place]) for place, test in enumerate(chosen))


class _Search:
    """Branch and bound over pairs as bits of a whole number."""

    def __init__(
        self, prices: _Prices, separates: Bools, first: tuple[int, ...], nodes: int
    ) -> None:
        self.prices, self.nodes = prices, nodes
        table = _without_implied_pairs(separates)
        self.covers = [_bits(np.asarray(row)) for row in table]
        self.pairs = _bits(np.asarray(table.any(axis=0)))
        self.separators = [np.flatnonzero(column).tolist() for column in table.T]
        self.cheapest = [min(prices.cost[test] for test in tests) for tests in self.separators]
        self.best, self.least = first, prices.total(first)

    def extend(self, left: int, chosen: tuple[int, ...]) -> None:
        """Every way to separate the pairs that are left, unless it cannot be cheaper.

        >>> apart = separated_pairs([[0, 0, 0], [0, 1, 1], [1, 1, 0]])
        >>> search = _Search(_prices([3, 9, 4], None, ()), apart, (0, 1), COVER_NODES)
        >>> search.extend(search.pairs, ())
        >>> sorted(search.best), search.least
        ([0, 2], 7.0)
        """
        spent = self.prices.total(chosen)
        if not left:
            if spent < self.least:
                self.best, self.least = chosen, spent
            return
        if self.nodes <= 0 or spent + self.lower(left) >= self.least * (1 - 1e-12):
            return
        self.nodes -= 1
        for test in self._ways(left, chosen):
            self.extend(left & ~self.covers[test], (*chosen, test))

    def _ways(self, left: int, chosen: tuple[int, ...]) -> list[int]:
        """The tests that separate the pair with fewest of them, the most promising first."""
        hardest = next(_ones(left))

        def worth(test: int) -> float:
            gain = (left & self.covers[test]).bit_count()
            return _ratio(gain, self.prices.extra(test, chosen))

        return sorted(self.separators[hardest], key=worth, reverse=True)

    def lower(self, left: int) -> float:
        """The least that any choice of further tests can cost.

        >>> apart = separated_pairs([[0, 0], [0, 1], [1, 1]])
        >>> search = _Search(_prices([3, 4], None, ()), apart, (0, 1), COVER_NODES)
        >>> search.lower(search.pairs)
        7.0
        """
        return max(self._by_rate(left), self._by_strangers(left))

    def _by_rate(self, left: int) -> float:
        """No test separates more pairs per minute than the best does."""
        gains = [(left & pairs).bit_count() for pairs in self.covers]
        useful = [cost / gain for cost, gain in zip(self.prices.cost, gains, strict=True) if gain]
        return left.bit_count() * min(useful, default=0.0)

    def _by_strangers(self, left: int) -> float:
        """Pairs of which no two share a test each need one of their own."""
        total = 0.0
        while left:
            pair = next(_ones(left))
            total += self.cheapest[pair]
            for test in self.separators[pair]:
                left &= ~self.covers[test]
        return total


def _without_implied_pairs(separates: Bools) -> Bools:
    """(T, P') without pairs that are separated whenever another pair is; hardest pairs first."""
    columns = sorted({_bits(np.asarray(column)) for column in separates.T} - {0})
    columns.sort(key=int.bit_count)
    kept: list[int] = []
    for column in columns:
        if not any(one & column == one for one in kept):
            kept.append(column)
    tests = range(len(separates))
    return np.array([[bool(one >> t & 1) for one in kept] for t in tests], dtype=bool)


def _prices(
    cost: Sequence[float], setup: Sequence[int] | None, setup_cost: Sequence[float]
) -> _Prices:
    wanted = [ANY] * len(cost) if setup is None else [int(one) for one in setup]
    return _Prices([float(one) for one in cost], wanted, [float(one) for one in setup_cost])


def _ratio(gain: int, cost: float) -> float:
    if gain == 0:
        return -1.0
    return gain / cost if cost > 0 else math.inf


def _bits(flags: Bools) -> int:
    return sum(1 << place for place in np.flatnonzero(flags).tolist())


def _ones(bits: int) -> Iterator[int]:
    while bits:
        low = bits & -bits
        yield low.bit_length() - 1
        bits ^= low
