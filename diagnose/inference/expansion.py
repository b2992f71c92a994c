"""Presence expansion: how a present finding is summed over its causes without a subtraction.

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

from diagnose.arrays import Floats
from diagnose.inference import budget

Survival = tuple[Floats, Floats]
"""Survivals u, and their complements 1 - u, found without subtraction."""

Sighting = tuple[Floats, Floats, int]
"""Survivals, complements, and how many presences meet them."""


def survival(logs: Floats) -> Survival:
    """Survivals and complements from log survivals.

    >>> survival(np.array([-1e-20]))[1].tolist()
    [1e-20]
    """
    return np.exp(logs), -np.expm1(logs)


def width(counts: Sequence[int]) -> int:
    """How many multi-indices there are: the product of count + 1.

    >>> width([1, 2])
    6
    """
    return prod(count + 1 for count in counts)


def leaving(classes: Sequence[Sequence[Sighting]]) -> Floats:
    """(N, ...) weights of every multi-index that the first set leaves to explain.

    ``classes`` (at least one) lists, for each class, presences that the first set survives alike.

    >>> leaving([[(np.array(0.25), np.array(0.75), 2)]]).tolist()
    [0.5625, 0.375, 0.0625]
    >>> leaving([[(np.array(0.25), np.array(0.75), 1), (np.array(0.5), np.array(0.5), 1)]]).tolist()
    [0.375, 0.5, 0.125]
    """
    terms, *rest = map(_left_of, classes)
    for powers in rest:
        terms = (terms[:, None] * powers).reshape(-1, *terms.shape[1:])
    return terms


def _left_of(sightings: Sequence[Sighting]) -> Floats:
    u, gone, count = sightings[0]
    left = np.stack(np.broadcast_arrays(*_powers(u, gone, count), np.empty(u.shape))[:-1])
    for u, gone, count in sightings[1:]:
        wider = np.zeros((len(left) + count, *left.shape[1:]))
        for i, power in enumerate(_powers(u, gone, count)):
            wider[i : i + len(left)] += left * power
        left = wider
    return left


def _powers(u: Floats, gone: Floats, count: int) -> list[Floats]:
    """The chances that so many of ``count`` presences are left, from none to all."""
    if count < 2:
        return [gone, u] if count else [np.ones(())]
    between = (comb(count, i) * (gone ** (count - i) * u**i) for i in range(1, count))
    return [gone**count, *between, u**count]


def apply_transition(
    table: Floats, survivals: Sequence[Survival], counts: Sequence[int], back: bool = False
) -> Floats:
    """(R, N, D) what multi-indices are worth before D states act, from what they are worth after.

    Parameters
    ----------
    table: (R, N, D), or (R, N, 1) when it is the same for all states.
    survivals: per class (R, D), or (1, D), the survivals of the states.
    back: turn weights of what is met into weights of what is left (the transposed product).

    >>> half = [(np.array([[0.25]]), np.array([[0.75]]))]
    >>> apply_transition(np.array([[[1.0], [3.0]]]), half, [1]).ravel().tolist()
    [1.0, 1.5]
    """
    if not survivals:
        return table
    states = survivals[0][0].shape[-1]
    budget.spend(table.size // table.shape[-1] * states * (1.0 + sum(counts) / 3))
    given, table = table, np.empty((*table.shape[:-1], states))
    table[...] = given
    before, rest = 1, width(counts)
    for (u, gone), count in zip(survivals, counts, strict=True):
        rest //= count + 1
        part = table.reshape(len(table), before, count + 1, rest, states)
        powers = [_powers(u[:, None, None], gone[:, None, None], n) for n in range(count + 1)]
        for to in range(count + 1) if back else range(count, -1, -1):
            if to > 0:
                part[:, :, to] *= powers[to][to]
            for other in range(to + 1, count + 1) if back else range(to):
                part[:, :, to] += part[:, :, other] * powers[max(to, other)][min(to, other)]
        before *= count + 1
    return table


def leave_one_out(factors: Floats) -> Floats:
    """(R, ...) for each of R factors the product of all the others, without division.

    >>> leave_one_out(np.array([[2.0], [3.0], [5.0]])).tolist()
    [[15.0], [10.0], [6.0]]
    """
    if len(factors) == 1:
        return np.ones_like(factors)
    budget.spend(2.0 * factors.size)
    before, after = np.ones_like(factors), np.ones_like(factors)
    for r in range(1, len(factors)):
        np.multiply(before[r - 1], factors[r - 1], out=before[r])
        np.multiply(after[-r], factors[-r], out=after[-r - 1])
    before *= after
    return before
