"""In which order the groups of each connected part are visited, and what enters on the way.

Given a state of the common bundle, parts of the plan that share no bundle are independent.
Within one, groups are visited one after another; a shared bundle joins before the first group
that it serves, and is forgotten behind the last. Parts that differ in nothing but the numbers of
their groups and bundles are *twins*: what is found for one of them holds for all.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from math import log, prod

import numpy as np

from diagnose.noisyor.factor import Group
from diagnose.noisyor.network import Floats, Ints
from diagnose.noisyor.plan import Plan, Shared
from diagnose.record import record

FEW_STATES = 4
"""When a bundle of so few states joins, what no later group needs is forgotten in one go."""


@record
class Join:
    """A bundle joins, or (without one) what no later group needs is forgotten.

    Parameters
    ----------
    table: (states of the bundle, columns) its log survivals in the columns that matter from
        now on; one row of zeros without a bundle.
    former, place: which of the columns before still matter, and where they are now.
    to_come: log of the total weight of all bundles that join later.
    """

    bundle: int | None
    table: Floats
    former: Ints
    place: Ints
    to_come: float

    def columns(self, logs: Floats, states: Ints) -> Floats:
        """(pairs, columns) log survivals of some (old state, bundle state) pairs.

        >>> table = np.array([[0.0, 0.0], [0.0, -2.0]])
        >>> join = Join(0, table, former=np.array([1]), place=np.array([0]), to_come=0.0)
        >>> join.columns(np.array([[-5.0, -1.0]]), np.array([0, 1])).tolist()  # -5.0 is forgotten
        [[-1.0, 0.0], [-1.0, -2.0]]
        """
        old, own = np.divmod(states, len(self.table))
        joined = self.table[own]
        joined[:, self.place] += logs[old[:, None], self.former]
        return joined


@record
class Stop:
    """A group is visited after some joins.

    ``used`` numbers the columns that it uses, ``place`` is where the frontier has them;
    ``to_come`` is the log of the total weight of all bundles that join at later stops.
    """

    group: int
    joins: tuple[Join, ...]
    used: Mapping[int, int]
    place: Ints
    to_come: float


Course = tuple[Stop, ...]
"""All stops of one connected part."""


def courses(plan: Plan, polynomials: Sequence[Floats]) -> Iterator[Course]:
    """The stops of each connected part of the plan.

    Parameters
    ----------
    polynomials: per group the (sites, N) vectors of its private variables.

    >>> from diagnose.noisyor import Finding, Network, Variable
    >>> from diagnose.noisyor.plan import make_plan
    >>> rows = [Finding(p + row, {p: (1, 0)}, present=True) for p in "AB" for row in "12"]
    >>> plan = make_plan(Network.of([Variable(pump, (0.9, 0.1)) for pump in "AB"], rows))
    >>> found = courses(plan, [np.array([[1.0, 0.0]] * 2)] * 2)
    >>> [[(stop.group, [j.bundle for j in stop.joins]) for stop in course] for course in found]
    [[(0, [0])], [(1, [1])]]
    """
    touching: dict[int, list[int]] = {g: [] for g in range(len(plan.groups))}
    for b, one in enumerate(plan.shared):
        for g in one.groups:
            touching[g].append(b)
    looks = [_look(group, own) for group, own in zip(plan.groups, polynomials, strict=True)]
    colours, of_bundles = _colours(plan.shared, touching, looks)
    for bundles in touching.values():
        bundles.sort(key=of_bundles.__getitem__)
    left = dict.fromkeys(touching)
    while left:
        order = _connected_order(plan.shared, touching, colours, left)
        frontier = _Frontier(plan, order, touching)
        yield tuple(frontier.stop(k, g) for k, g in enumerate(order))


def _look(group: Group, polynomials: Floats) -> Hashable:
    """What a group looks like by itself."""
    every = (*group.classes, *group.queries)
    columns = ((column.common, column.leak, column.besides) for column in every)
    return group.counts, *columns, polynomials.tobytes()


def _colours(
    shared: Sequence[Shared], touching: Mapping[int, list[int]], looks: Sequence[Hashable]
) -> tuple[list[int], list[int]]:
    """Of groups and of bundles: numbers that differ where they or their connections do.

    Colour refinement (B. Weisfeiler and A. Leman, 1968) on the groups and their bundles.
    """
    groups, bundles = _numbered(looks), _numbered(one.weight.tobytes() for one in shared)
    while True:
        around = [sorted(groups[g] for g in one.groups) for one in shared]
        bundles = _numbered((own, *near) for own, near in zip(bundles, around, strict=True))
        met = [sorted(bundles[b] for b in touching[g]) for g in range(len(groups))]
        finer = _numbered((own, *near) for own, near in zip(groups, met, strict=True))
        if max(finer, default=0) == max(groups, default=0):
            return finer, bundles
        groups = finer


def _numbered(values: Iterable[Hashable]) -> list[int]:
    """Equal values by one number, in order of appearance."""
    number: dict[Hashable, int] = {}
    return [number.setdefault(value, len(number)) for value in values]


def twins(plan: Plan, polynomials: Sequence[Floats]) -> list[list[Course]]:
    """The courses of all connected parts, those that have the same content together.

    >>> from diagnose.noisyor import Finding, Network, Variable
    >>> from diagnose.noisyor.plan import make_plan
    >>> pumps = [Variable("A", (0.9, 0.1)), Variable("B", (0.8, 0.2)), Variable("C", (0.9, 0.1))]
    >>> rows = [Finding(p + row, {p: (1, 0)}, present=True) for p in "ABC" for row in "12"]
    >>> found = twins(make_plan(Network.of(pumps, rows)), [np.array([[1.0, 0.0]] * 2)] * 3)
    >>> [[stop.group for course in alike for stop in course] for alike in found]
    [[0, 2], [1]]
    """
    alike: dict[tuple[object, ...], list[Course]] = {}
    for course in courses(plan, polynomials):
        content = tuple(_content(plan, stop, polynomials[stop.group]) for stop in course)
        alike.setdefault(content, []).append(course)
    return list(alike.values())


def _content(plan: Plan, stop: Stop, polynomial: Floats) -> tuple[object, ...]:
    """All that a stop adds to a sweep, without the numbers of its group, bundles and columns."""
    group = plan.groups[stop.group]
    columns = [
        (column.common, column.leak, column.besides, stop.used.get(column.shared))
        for column in (*group.classes, *group.queries)
    ]
    joins = [
        (
            None if join.bundle is None else plan.shared[join.bundle].weight.tobytes(),
            *(table.tobytes() for table in (join.table, join.former, join.place)),
        )
        for join in stop.joins
    ]
    return group.counts, *columns, polynomial.tobytes(), stop.place.tobytes(), *joins


def _connected_order(
    shared: Sequence[Shared],
    touching: Mapping[int, list[int]],
    colours: Sequence[int],
    left: dict[int, None],
) -> list[int]:
    """Take one connected part out of ``left``: next is always the group that adds least.

    Of several the one whose bundles serve the fewest groups is nearest to an end, and what it
    brings can be forgotten soonest; then colours decide, so that twins are visited alike.

    Looked at are groups that share a bundle with the frontier, and groups that share one with
    these: where hoses feed row after row, the row fed first is entered before those behind it.
    """

    def beside(groups: set[int]) -> set[int]:
        bundles = {b for g in groups for b in touching[g]}
        return {g for b in bundles for g in shared[b].groups if g in left}

    def place(g: int) -> tuple[int, int, int, int]:
        reach = sum(len(shared[b].groups) for b in touching[g])
        return _growth(shared, touching[g], active), reach, colours[g], g

    active: set[int] = set()
    order: list[int] = []
    near = {min(left, key=place)}
    while near:
        chosen = min(near | beside(near), key=place)
        order.append(chosen)
        del left[chosen]
        active.update(touching[chosen])
        near.discard(chosen)
        near |= beside({chosen})
    return order


def _growth(shared: Sequence[Shared], bundles: Sequence[int], active: set[int]) -> int:
    """By how much the frontier's states are multiplied."""
    return prod(len(shared[b].weight) for b in bundles if b not in active)


class _Frontier:
    """The shared columns at hand while the groups of one part are visited in order."""

    def __init__(self, plan: Plan, order: Sequence[int], touching: Mapping[int, list[int]]) -> None:
        self.plan, self.touching = plan, touching
        self.waiting = dict.fromkeys(b for g in order for b in touching[g])
        self.to_come = sum(map(self._log_weight, self.waiting))
        self.known: set[int] = set()
        self.columns: list[int] = []
        used = [(k, column) for k, g in enumerate(order) for column in self._used(g)]
        self.last = {column: k for k, column in used}
        self.turn = {column: k for k, column in enumerate(dict.fromkeys(c for _, c in used))}

    def _log_weight(self, bundle: int) -> float:
        return log(self.plan.shared[bundle].weight.sum())

    def _used(self, group: int) -> list[int]:
        one = self.plan.groups[group]
        return [column.shared for column in (*one.classes, *one.queries)]

    def stop(self, k: int, group: int) -> Stop:
        """The k-th stop. Small bundles join and what is no longer needed is forgotten in one go."""
        joins = []
        entering = [b for b in self.touching[group] if b in self.waiting]
        small = entering and len(self.plan.shared[entering[0]].weight) <= FEW_STATES
        if len(self._needed(k)) < len(self.columns) and not small:
            joins.append(self._join(None, np.zeros((1, 0)), [], k))
        for b in entering:
            del self.waiting[b]
            self.to_come -= self._log_weight(b)
            one = self.plan.shared[b]
            self.known.update(one.columns)
            joins.append(self._join(b, one.log_survival, list(one.columns), k))
        used = set(self._used(group))
        own = [column for column in self.columns if column in used]
        place = np.array([self.columns.index(column) for column in own], dtype=np.intp)
        numbered = {column: number for number, column in enumerate(own)}
        return Stop(group, tuple(joins), numbered, place, self.to_come)

    def _needed(self, k: int) -> list[int]:
        """The known columns that the groups from a stop on use, those used first in front."""
        used = (column for column in self.known if self.last.get(column, -1) >= k)
        return sorted(used, key=self.turn.__getitem__)

    def _join(self, bundle: int | None, table: Floats, own: Sequence[int], k: int) -> Join:
        before, self.columns = self.columns, self._needed(k)
        return _join(bundle, table, own, before, self.columns, self.to_come)


def _join(
    bundle: int | None,
    table: Floats,
    own: Sequence[int],
    before: Sequence[int],
    after: Sequence[int],
    to_come: float,
) -> Join:
    """The join by which the columns ``before`` become ``after``."""
    wide = np.zeros((len(table), len(after)))
    for k, column in enumerate(own):
        if column in after:
            wide[:, after.index(column)] = table[:, k]
    stay = [column for column in before if column in after]
    former = np.array([before.index(column) for column in stay], dtype=np.intp)
    place = np.array([after.index(column) for column in stay], dtype=np.intp)
    return Join(bundle, wide, former, place, to_come)
