"""In which order the groups of each connected part are visited, and what enters on the way.

Given a state of the common bundle, parts of the plan that share no bundle are independent.
Within one, groups are visited one after another; a shared bundle joins before the first group
that it serves, and is forgotten behind the last.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import log

import numpy as np

from diagnose.noisyor.network import Floats, Ints
from diagnose.noisyor.plan import Plan, Shared
from diagnose.record import record


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
        """(pairs, columns) log survivals of some (old state, bundle state) pairs."""
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


def courses(plan: Plan) -> Iterator[Course]:
    """The stops of each connected part of the plan."""
    touching: dict[int, list[int]] = {g: [] for g in range(len(plan.groups))}
    for b, one in enumerate(plan.shared):
        for g in one.groups:
            touching[g].append(b)
    left = dict.fromkeys(touching)
    while left:
        order = _connected_order(plan.shared, touching, left)
        yield tuple(_stops(plan, order, touching))


def _connected_order(
    shared: Sequence[Shared], touching: Mapping[int, list[int]], left: dict[int, None]
) -> list[int]:
    """Take one connected part out of ``left``: next is always the group that adds least.

    Looked at are groups that share a bundle with the frontier, and groups that share one with
    these: where hoses feed row after row, the row fed first is entered before those behind it.
    """

    def beside(groups: set[int]) -> set[int]:
        bundles = {b for g in groups for b in touching[g]}
        return {g for b in bundles for g in shared[b].groups if g in left}

    start = min(left, key=lambda g: (_growth(shared, touching[g], set()), g))
    order: list[int] = []
    active: set[int] = set()
    near = {start}
    while near:
        chosen = min(near | beside(near), key=lambda g: (_growth(shared, touching[g], active), g))
        order.append(chosen)
        del left[chosen]
        active.update(touching[chosen])
        near.discard(chosen)
        near |= beside({chosen})
    return order


def _growth(shared: Sequence[Shared], bundles: Sequence[int], active: set[int]) -> float:
    return sum(log(max(len(shared[b].weight), 1)) for b in bundles if b not in active)


def _stops(plan: Plan, order: Sequence[int], touching: Mapping[int, list[int]]) -> Iterator[Stop]:
    shared = plan.shared
    used = [{c.shared for c in (*plan.groups[g].classes, *plan.groups[g].queries)} for g in order]
    entering = list(dict.fromkeys(b for g in order for b in touching[g]))
    to_come = sum(log(shared[b].weight.sum()) for b in entering)
    known: set[int] = set()
    columns: list[int] = []
    for k, g in enumerate(order):
        remaining = set().union(*used[k:])
        joins = []
        if len(kept := sorted(known & remaining)) < len(columns):
            joins.append(_join(None, np.zeros((1, 0)), [], columns, kept, to_come))
            columns = kept
        while entering and entering[0] in touching[g]:
            b = entering.pop(0)
            to_come -= log(shared[b].weight.sum())
            known |= set(shared[b].columns)
            kept = sorted(known & remaining)
            table = shared[b].log_survival
            joins.append(_join(b, table, list(shared[b].columns), columns, kept, to_come))
            columns = kept
        own = [column for column in columns if column in used[k]]
        place = np.array([columns.index(column) for column in own], dtype=np.intp)
        numbered = {column: number for number, column in enumerate(own)}
        yield Stop(g, tuple(joins), numbered, place, to_come)


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
