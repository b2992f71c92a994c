"""The expansion that lets presences be summed without a single subtraction.

With u the survival by one set of causes and x by another, a finding is present with
probability 1 - u x = (1 - u) + u (1 - x): either the first set brings it about, or it does
not and the second must. Seen K times alike::

    (1 - u x)**K = sum over i of  C(K, i) (1 - u)**(K - i) u**i  *  (1 - x)**i

where i counts the presences that the first set leaves for the second to explain. Every term
is non-negative. Findings of several *classes* (survivals that differ) take the product over
classes; a multi-index over classes is flattened, last class fastest.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import comb, prod

import numpy as np

from diagnose.noisyor import budget
from diagnose.noisyor.network import Floats

TURN = 500
"""What each pair of presences takes besides its entries, in entries that take as long."""

Sighting = tuple[Floats, Floats, int]
"""Survivals, 1 - survivals, and how many presences meet them."""


def width(counts: Sequence[int]) -> int:
    """How many multi-indices there are: the product of count + 1.

    >>> width([1, 2])
    6
    """
    return prod(count + 1 for count in counts)


def leaving(classes: Sequence[Sequence[Sighting]]) -> Floats:
    """Weights of every multi-index left to explain.

    Parameters
    ----------
    classes: at least one; of each class its presences, those that the first set survives alike
        together. All survivals have one shape.

    Returns
    -------
    (N, ...) with N the product of each class's number of presences + 1.

    >>> leaving([[(np.array(0.25), np.array(0.75), 2)]]).tolist()
    [0.5625, 0.375, 0.0625]
    >>> leaving([[(np.array(0.25), np.array(0.75), 1), (np.array(0.5), np.array(0.5), 1)]]).tolist()
    [0.375, 0.5, 0.125]
    """
    terms, *others = map(_left_of, classes)
    for powers in others:
        terms = (terms[:, None] * powers).reshape(-1, *terms.shape[1:])
    return terms


def _left_of(sightings: Sequence[Sighting]) -> Floats:
    """(count + 1, ...) the chances that so many presences of one class are left."""
    u, gone, count = sightings[0]
    left = np.empty((count + 1, *u.shape))
    for i, power in enumerate(_left(u, gone, count)):
        left[i] = power
    for u, gone, count in sightings[1:]:
        powers = _left(u, gone, count)
        wider = np.empty((len(left) + count, *left.shape[1:]))
        np.multiply(left, powers[0], out=wider[: len(left)])
        wider[len(left) :] = 0.0
        for i, power in enumerate(powers[1:], start=1):
            wider[i : i + len(left)] += left * power
        left = wider
    return left


def passed_on(
    table: Floats,
    survivals: Sequence[tuple[Floats, Floats]],
    counts: Sequence[int],
    back: bool = False,
) -> Floats:
    """What multi-indices are worth before D states act, from what they are worth after.

    Each state is one more cause that turns multi-index j into the i that it leaves. Done class
    by class, this is the product with the D matrices of `transitions`, none of which is built.

    Parameters
    ----------
    table: (R, N, D), or (R, N, 1) when it is the same for all states.
    survivals: per class the (D) survivals and 1 - survivals of the states.
    back: turn weights of j into weights of i instead (the transposed product).

    >>> half = [(np.array([0.25]), np.array([0.75]))]
    >>> passed_on(np.array([[[1.0], [3.0]]]), half, [1]).ravel().tolist()
    [1.0, 1.5]
    """
    states = len(survivals[0][0]) if survivals else table.shape[-1]
    budget.table(
        table.size // table.shape[-1] * states, 1.0 + sum(counts) / 3, TURN * sum(counts) ** 2
    )
    given, table = table, np.empty((*table.shape[:-1], states))
    table[...] = given
    before, rest = 1, width(counts)
    for (survival, lost), count in zip(survivals, counts, strict=True):
        rest //= count + 1
        part = table.reshape(len(table), before, count + 1, rest, -1)
        left = [_left(survival, lost, every) for every in range(count + 1)]
        for to in range(count + 1) if back else range(count, -1, -1):
            if to > 0:
                part[:, :, to] *= left[to][to]
            for of in range(to + 1, count + 1) if back else range(to):
                part[:, :, to] += part[:, :, of] * left[max(to, of)][min(to, of)]
        before *= count + 1
    return table


def _left(u: Floats, gone: Floats, count: int) -> list[Floats]:
    """The chances that so many of ``count`` presences are left, from none to all."""
    if count < 2:
        return [gone, u] if count else []
    if count == 2:  # most findings fail once or twice
        return [gone * gone, 2 * (gone * u), u * u]
    between = (comb(count, i) * (gone ** (count - i) * u**i) for i in range(1, count))
    return [gone**count, *between, u**count]


def transitions(log_s: Floats, counts: Sequence[int]) -> Floats:
    """How one variable's states turn multi-index j into the i that they leave unexplained.

    Parameters
    ----------
    log_s: (..., classes) log survival of a state in each class.

    Returns
    -------
    (..., N, N) with N = ``width(counts)``: entry [j, i] is the chance of j → i.

    >>> transitions(np.log([[0.25]]), [1]).tolist()
    [[[1.0, 0.0], [0.75, 0.25]]]
    """
    *batch, classes = log_s.shape
    flat = log_s.reshape(prod(batch), classes).T
    result = np.ones((1, 1, prod(batch)))
    for logs, count in zip(flat, counts, strict=True):
        step = _one_class(np.exp(logs), -np.expm1(logs), count)
        joined = result[:, None, :, None] * step[None, :, None, :]
        size = len(result) * (count + 1)
        result = joined.reshape(size, size, prod(batch))
    every: Floats = np.moveaxis(result, -1, 0).reshape(*batch, *result.shape[:2])
    return every


def _one_class(s: Floats, gone: Floats, count: int) -> Floats:
    """(count + 1, count + 1, S): C(j, i) (1 - s)**(j - i) s**i on and below the diagonal."""
    lower = np.zeros((count + 1, count + 1, len(s)))
    lower[0, 0] = 1.0
    for j in range(1, count + 1):
        lower[j, : j + 1] = _left(s, gone, j)
    return lower
