"""Many states into few, and values carried there and back.

Tables have states along the last axis but one and common states along the last, so that a
state's values lie together in memory and are copied and added up as one.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from diagnose.noisyor.network import Floats, Ints
from diagnose.record import record

FEW = 8
"""Up to so many old states in each new one, all new states take up another one at a time."""


@record
class Merging:
    """Which of ``size`` new states each old one goes ``into``; ``size`` itself is nowhere.

    Every new state has at least one old one.

    >>> merging = Merging(np.array([0, 1, 0, 2]), 2)
    >>> merging.summed(np.array([[1.0], [2.0], [3.0], [4.0]])).ravel().tolist()
    [4.0, 2.0]
    >>> merging.spread(np.array([[5.0], [6.0]])).ravel().tolist()
    [5.0, 6.0, 5.0, 0.0]
    """

    into: Ints
    size: int

    @cached_property
    def idle(self) -> bool:
        """Whether the new states are the old ones.

        >>> [Merging(np.array(into), 2).idle for into in ([0, 1], [1, 0], [0, 1, 2])]
        [True, False, False]
        """
        return self.size == len(self.into) and bool((np.diff(self.into) == 1).all())

    @cached_property
    def order(self) -> Ints:
        """The old states that go somewhere, in the order of the new ones.

        >>> Merging(np.array([1, 0, 2, 0]), 2).order.tolist()
        [1, 3, 0]
        """
        order: Ints = self.into.argsort(kind="stable")[: self._bounds[-1]]
        return order

    @cached_property
    def _bounds(self) -> Ints:
        bounds = np.zeros(self.size + 1, dtype=np.intp)
        np.bincount(self.into, minlength=self.size)[: self.size].cumsum(out=bounds[1:])
        return bounds

    @cached_property
    def _rounds(self) -> tuple[tuple[Ints, Ints], ...]:
        """Which new states have another old one, and where in `order`; none when some have many."""
        first, counts = self._bounds[:-1], np.diff(self._bounds)
        most = int(counts.max())
        turns = range(1, most) if most <= FEW else ()
        return tuple((has := np.flatnonzero(counts > turn), first[has] + turn) for turn in turns)

    def added(self, ordered: Floats) -> Floats:
        """(..., size, T) from values of the old states that stand in `order` already.

        Where few go into each, whole rows are added: `reduceat` adds up one column at a time.

        >>> Merging(np.array([1, 0, 2, 0]), 2).added(np.array([[1.0], [2.0], [4.0]])).tolist()
        [[3.0], [4.0]]
        """
        if self.size == len(self.order):
            return ordered
        summed: Floats
        if not self._rounds:
            summed = np.add.reduceat(ordered, self._bounds[:-1], axis=-2)
            return summed
        summed = ordered[..., self._bounds[:-1], :]
        for has, others in self._rounds:
            summed[..., has, :] += ordered[..., others, :]
        return summed

    def summed(self, values: Floats) -> Floats:
        """(..., size, T) from (..., old, T): values that go into one state are added up.

        >>> values = np.array([[1.0, 10.0], [2.0, 20.0], [3.0, 30.0]])
        >>> Merging(np.array([0, 1, 0]), 2).summed(values).tolist()
        [[4.0, 40.0], [2.0, 20.0]]
        """
        return values if self.idle else self.added(values[..., self.order, :])

    def spread(self, values: Floats) -> Floats:
        """(..., old, T) from (..., size, T): each old state has the value of its new one.

        >>> Merging(np.array([1, 2, 0, 1]), 2).spread(np.array([[5.0, 50.0], [6.0, 60.0]])).tolist()
        [[6.0, 60.0], [0.0, 0.0], [5.0, 50.0], [6.0, 60.0]]
        """
        if self.idle:
            return values
        if len(self.order) < len(self.into):
            nowhere = np.zeros((*values.shape[:-2], 1, values.shape[-1]))
            values = np.concatenate([values, nowhere], axis=-2)
        return values[..., self.into, :]
