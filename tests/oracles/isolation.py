"""The cheapest tree of sure tests that tells hypotheses apart.

The AND/OR tree of test sequencing, solved by dynamic programming over sets of hypotheses:
K. R. Pattipati and M. G. Alexandridis (1990), "Application of heuristic search and
information theory to sequential fault diagnosis". Exact, for fractions as for floats.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction

from diagnose import errors
from diagnose.decision.problem import ANY
from diagnose.record import record

Number = float | Fraction
Group = tuple[int, ...]
"""Hypotheses that no test tells apart (one, where all could be told)."""


@record
class Split:
    """A test, and what follows each of its outcomes."""

    test: int
    branches: tuple[tuple[int, Split | Group], ...]


Tree = Split | Group


@record
class Setups:
    """What changing set-ups adds: (T) wanted by each test, (S, S) cost of change, the first one."""

    wanted: Sequence[int]
    change: Sequence[Sequence[Number]]
    start: int = 0


def optimal_test_tree(
    prior: Sequence[Number],
    outcomes: Sequence[Sequence[int]],
    cost: Sequence[Number],
    setups: Setups | None = None,
    most: int = 500_000,
) -> tuple[Number, Tree]:
    """The least expected cost of telling all apart that can be, and a tree that has it.

    Parameters
    ----------
    prior: (H) probabilities, or any weights; the cost comes in their proportion.
    outcomes: (H, T) the outcome of each test under each hypothesis.
    cost: (T) cost of each test.
    most: sets of hypotheses that may be looked at.

    Raises
    ------
    InputError: when there are more sets than that.

    >>> chain = [[int(stage > probe) for probe in range(3)] for stage in range(4)]
    >>> optimal_test_tree([Fraction(1, 4)] * 4, chain, [1, 1, 1])[0]
    Fraction(2, 1)
    """
    search = _Search(prior, outcomes, cost, setups, most)
    found = search.least(search.all, search.start)
    return found, search.tree(search.all, search.start, search.best)


def greedy_test_tree(
    prior: Sequence[Number],
    outcomes: Sequence[Sequence[int]],
    cost: Sequence[Number],
    setups: Setups | None = None,
) -> tuple[Number, Tree]:
    """The same, each test being the one that tells most bits per cost: quick, not optimal.

    Six states of which the first is sound, and five tests, as remembered from K. R. Pattipati
    and M. G. Alexandridis (1990): 2.18 tests are enough on average; here it takes 2.86.

    >>> states = "00000", "01001", "00110", "10011", "11000", "11110"
    >>> outcomes = [[int(outcome) for outcome in state] for state in states]
    >>> percent = [70, 1, 2, 10, 5, 12]
    >>> [tree(percent, outcomes, [1] * 5)[0] for tree in (greedy_test_tree, optimal_test_tree)]
    [286, 218]
    """
    search = _Search(prior, outcomes, cost, setups, 0)
    return search.greedy(search.all, search.start), search.tree(
        search.all, search.start, search.most_telling
    )


def tree_depths(tree: Tree, depth: int = 0) -> dict[Group, int]:
    """How many tests lead to each group.

    >>> tree_depths(Split(0, ((0, (0,)), (1, (1, 2)))))
    {(0,): 1, (1, 2): 1}
    """
    if isinstance(tree, tuple):
        return {tree: depth}
    deeper = [tree_depths(branch, depth + 1) for _, branch in tree.branches]
    return {group: found for one in deeper for group, found in one.items()}


class _Search:
    """Sets of hypotheses as bits of a whole number.

    >>> search = _Search([1, 1, 2], [[0, 0], [1, 0], [1, 1]], [1, 1], None, 9)
    >>> search.all, search.parts
    (7, [[(0, 1), (1, 6)], [(0, 3), (1, 4)]])
    """

    def __init__(
        self,
        prior: Sequence[Number],
        outcomes: Sequence[Sequence[int]],
        cost: Sequence[Number],
        setups: Setups | None,
        most: int,
    ) -> None:
        self.prior, self.cost, self.most = prior, cost, most
        self.setups = setups or Setups([ANY] * len(cost), [[0]])
        self.start = self.setups.start
        self.all = (1 << len(prior)) - 1
        self.parts = [_parts([row[t] for row in outcomes]) for t in range(len(cost))]
        self.known: dict[tuple[int, int], Number] = {}
        self.chosen: dict[tuple[int, int], int] = {}
        self.weights: dict[int, Number] = {}

    def least(self, group: int, setup: int) -> Number:
        """Least cost from a set of hypotheses on, times its weight.

        >>> _Search([1, 1, 2], [[0, 0], [1, 0], [1, 1]], [1, 1], None, 9).least(0b111, 0)
        6
        """
        if group & (group - 1) == 0:
            return 0
        key = (group, setup)
        if key not in self.known:
            if len(self.known) >= self.most:
                raise _too_many(self.most)
            self.known[key] = self._least(group, setup)
        return self.known[key]

    def _least(self, group: int, setup: int) -> Number:
        found: Number | None = None
        for test, parts in self.splits(group):
            after, total = self.step(test, group, setup)
            for part in parts:
                if found is not None and total >= found:
                    break
                total += self.least(part, after)
            if found is None or total < found:
                found, self.chosen[group, setup] = total, test
        return 0 if found is None else found

    def splits(self, group: int) -> Iterator[tuple[int, list[int]]]:
        """Every test that tells anything apart in a group, and what each outcome leaves.

        >>> search = _Search([1, 1, 2], [[0, 0], [1, 0], [1, 1]], [1, 1], None, 9)
        >>> list(search.splits(0b110)), list(search.splits(0b101))
        ([(1, [2, 4])], [(0, [1, 4]), (1, [1, 4])])
        """
        for test, parts in enumerate(self.parts):
            left = [group & part for _, part in parts if group & part]
            if len(left) > 1:
                yield test, left

    def step(self, test: int, group: int, setup: int) -> tuple[int, Number]:
        """The set-up after a test, and its cost times the weight of the group.

        >>> setups = Setups(wanted=[ANY, 1], change=[[0, 5], [5, 0]])
        >>> search = _Search([1, 1, 2], [[0, 0], [1, 0], [1, 1]], [1, 1], setups, 9)
        >>> search.step(0, 0b110, setup=0), search.step(1, 0b110, setup=0)
        ((0, 3), (1, 18))
        """
        wanted = self.setups.wanted[test]
        after = setup if wanted == ANY else wanted
        return after, (self.setups.change[setup][after] + self.cost[test]) * self.weight(group)

    def split(self, test: int, group: int) -> list[tuple[int, int]]:
        """The outcomes that a test can have in a group, and what is left after each.

        >>> search = _Search([1, 1, 2], [[0, 0], [1, 0], [1, 1]], [1, 1], None, 9)
        >>> search.split(0, 0b111), search.split(0, 0b110)
        ([(0, 1), (1, 6)], [(1, 6)])
        """
        return [(name, group & part) for name, part in self.parts[test] if group & part]

    def weight(self, group: int) -> Number:
        """Probability of a set of hypotheses.

        >>> _Search([1, 1, 2], [[0, 0], [1, 0], [1, 1]], [1, 1], None, 9).weight(0b110)
        3
        """
        if group not in self.weights:
            self.weights[group] = sum(self.prior[h] for h in _members(group))
        return self.weights[group]

    def best(self, group: int, setup: int) -> int | None:
        """The test of the optimal tree; None where nothing can be told apart."""
        return self.chosen.get((group, setup))

    def most_telling(self, group: int, setup: int) -> int | None:
        """The test that tells most bits per cost; None where nothing can be told apart.

        >>> search = _Search([1, 1, 2], [[0, 0], [1, 0], [1, 1]], [1, 1], None, 9)
        >>> [search.most_telling(group, 0) for group in (0b111, 0b011, 0b001)]
        [1, 0, None]
        """
        rates = {t: self._rate(t, parts, group, setup) for t, parts in self.splits(group)}
        return max(rates, key=lambda test: rates[test], default=None)

    def _rate(self, test: int, parts: list[int], group: int, setup: int) -> float:
        shares = [float(self.weight(part)) for part in parts]
        whole = sum(shares)
        bits = -sum(share * math.log2(share / whole) for share in shares if share > 0)
        cost = float(self.step(test, group, setup)[1])
        return bits / cost if cost > 0 else math.inf

    def greedy(self, group: int, setup: int) -> Number:
        """Cost of the greedy tree from a set of hypotheses on, times its weight."""
        test = self.most_telling(group, setup)
        if test is None:
            return 0
        after, step = self.step(test, group, setup)
        return step + sum(self.greedy(part, after) for _, part in self.split(test, group))

    def tree(self, group: int, setup: int, choose: Callable[[int, int], int | None]) -> Tree:
        """The tree that a choice of tests makes.

        >>> search = _Search([1, 1, 2], [[0, 0], [1, 0], [1, 1]], [1, 1], None, 9)
        >>> tree_depths(search.tree(0b111, 0, search.most_telling))
        {(0,): 2, (1,): 2, (2,): 1}
        """
        test = choose(group, setup)
        if test is None:
            return _members(group)
        after = self.step(test, group, setup)[0]
        branches = self.split(test, group)
        return Split(test, tuple((name, self.tree(part, after, choose)) for name, part in branches))


def _parts(column: Sequence[int]) -> list[tuple[int, int]]:
    """The outcomes of a test, and the set of hypotheses under which each comes."""
    parts: dict[int, int] = {}
    for h, outcome in enumerate(column):
        parts[outcome] = parts.get(outcome, 0) | 1 << h
    return sorted(parts.items())


def _members(group: int) -> Group:
    return tuple(h for h in range(group.bit_length()) if group >> h & 1)


def _too_many(most: int) -> errors.InputError:
    return errors.InputError(
        errors.Problem(
            errors.Place("test tree"),
            f"at most {most} sets of hypotheses",
            "more",
            "ask for the greedy tree, or give fewer hypotheses or tests",
        )
    )
