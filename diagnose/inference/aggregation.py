"""State aggregation: states that no later finding can tell apart become one.

Chances in a rule base come from a short scale, so products of survivals meet again and again;
merging keeps the exact answer with far fewer states.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import Floats, Ints

FLOOR = -800.0
"""A log survival below this is zero in double precision; used in place of minus infinity."""

GRAIN = 2.0**40
"""Log survivals that round to the same multiple of its inverse are equal."""

_MIX = np.random.default_rng(1961).integers(2**62, size=4096, dtype=np.int64) | 1


def group_equal(logs: Floats) -> tuple[Ints, Ints]:
    """Group rows of log survivals that are equal to within 1e-12.

    A hash sorts the rows; those that meet are compared, and sorted in full where some differ.

    Returns
    -------
    first: a row of each group.
    into: (rows) the group that each row belongs to.

    >>> first, into = group_equal(np.array([[0.0], [-1.0], [0.0]]))
    >>> len(first), bool(into[0] == into[2] != into[1])
    (2, True)
    """
    grains = np.rint(np.maximum(logs, FLOOR) * GRAIN).astype(np.int64)
    first, into = distinct(grains @ _MIX[: grains.shape[1]])
    if len(first) == len(into):
        return np.arange(len(into)), np.arange(len(into))
    if (grains != grains[first][into]).any():
        first, into = _distinct_rows(grains)
    return first, into


def distinct(values: np.typing.NDArray[np.int64] | Ints) -> tuple[Ints, Ints]:
    """Where each distinct value stands, smallest value first, and the rank of every value.

    >>> place, rank = distinct(np.array([5, 3, 7]))
    >>> place.tolist(), rank.tolist()
    ([1, 0, 2], [1, 0, 2])
    """
    order = values.argsort()
    return _ranked(order, values[order][1:] != values[order][:-1])


def _distinct_rows(rows: np.typing.NDArray[np.int64]) -> tuple[Ints, Ints]:
    order = np.lexsort(rows.T)
    return _ranked(order, (rows[order][1:] != rows[order][:-1]).any(axis=1))


def _ranked(order: Ints, changes: np.typing.NDArray[np.bool_]) -> tuple[Ints, Ints]:
    new = np.concatenate([np.ones(min(len(order), 1), dtype=bool), changes])
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = new.cumsum() - 1
    return order[new], rank


def keep_mass(worth: Floats, spare: float) -> Ints:
    """Which states remain, in order, when the lightest go, together at most ``spare``.

    The heaviest always remains.

    >>> keep_mass(np.array([0.7, 0.1, 0.05]), 0.2).tolist()
    [0]
    """
    light_first = worth.argsort()
    light = int(worth[light_first].cumsum().searchsorted(spare, side="right"))
    kept: Ints = light_first[min(light, max(len(worth) - 1, 0)) :]
    kept.sort()
    return kept


def aggregated(values: Floats, into: Ints, size: int) -> Floats:
    """(size, ...) from (old, ...): values that go into one state are added; ``size`` is nowhere.

    Whole rows are added at a time: numpy's `reduceat` adds one column after another.

    >>> values, into = np.array([[1.0], [2.0], [3.0], [4.0]]), np.array([0, 1, 0, 2])
    >>> aggregated(values, into, 2).ravel().tolist()
    [4.0, 2.0]
    """
    if size == len(into) and (into == np.arange(size)).all():
        return values
    order = into.argsort(kind="stable")
    bounds = into[order].searchsorted(np.arange(size + 1))
    first, counts = bounds[:-1], np.diff(bounds)
    if counts.min(initial=1) > 0:
        summed: Floats = values[order[first]]
    else:
        summed = np.zeros((size, *values.shape[1:]))
        summed[counts > 0] = values[order[first[counts > 0]]]
    for turn in range(1, int(counts.max(initial=0))):
        has = np.flatnonzero(counts > turn)
        summed[has] += values[order[first[has] + turn]]
    return summed


def spread(values: Floats, into: Ints) -> Floats:
    """(old, ...) from (size, ...): each old state has the value of its new one, or nothing.

    >>> spread(np.array([[5.0], [6.0]]), np.array([1, 2, 0])).ravel().tolist()
    [6.0, 0.0, 5.0]
    """
    if len(into) and int(into.max()) == len(values):
        values = np.concatenate([values, np.zeros((1, *values.shape[1:]))])
    return values[into]
