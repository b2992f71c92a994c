"""Variables that matter to one batch only, summed away for many batches at once.

What a batch's private variables have to say to everything outside is a vector H over
multi-indices (see `expansion`): the weight with which they explain what others leave.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.inference.budget import table
from diagnose.inference.expansion import apply_transition, survival, width
from diagnose.record import record

KERNEL = 32
"""With more multi-indices transitions (their number squared) are applied, not written down."""


@record
class Family:
    """Batches of one shape (R batches, at most V private variables of at most S states each).

    Parameters
    ----------
    counts: presences per class.
    weight: (R, V, S) weight of each state; padding has weight 0, or 1 on state 0.
    logs: (R, V, S, classes) log survivals for the classes of present findings.
    open_logs: (R, V, S, Q) for the open findings.
    variable: (R, V) number of the variable, -1 for padding.
    """

    counts: tuple[int, ...]
    weight: Floats
    logs: Floats
    open_logs: Floats
    variable: Ints

    @cached_property
    def kernel(self) -> Floats:
        """(R, V, S, N, N) the transition of multi-indices by each state.

        >>> logs = np.log([[[[0.5], [0.25]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs[..., :0], np.array([[4]]))
        >>> family.kernel.round(6).tolist()
        [[[[[1.0, 0.0], [0.5, 0.5]], [[1.0, 0.0], [0.75, 0.25]]]]]
        """
        size, states = width(self.counts), self.weight.size
        table(states * size**2)
        flat = self.logs.reshape(1, states, len(self.counts))
        own = [survival(flat[..., c]) for c in range(len(self.counts))]
        every = np.eye(size)[..., None]
        met = apply_transition(every, own, self.counts) if own else every.repeat(states, axis=2)
        return met.transpose(2, 1, 0).reshape(*self.weight.shape, size, size)

    @cached_property
    def _vectors(self) -> list[Floats]:
        return self._chained(self.weight)

    @property
    def polynomial(self) -> Floats:
        """(R, N) the vectors H.

        >>> logs = np.log([[[[1.0], [0.2]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs[..., :0], np.array([[4]]))
        >>> family.polynomial.round(6).tolist()  # nothing to explain, and one presence
        [[1.0, 0.08]]
        """
        return self._vectors[-1]

    def absent(self, queries: Sequence[int]) -> Floats:
        """(R, N) the vectors H when these open findings turn out absent at every batch.

        >>> logs = np.log([[[[1.0], [0.2]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs, np.array([[4]]))
        >>> family.absent([0]).round(6).tolist()  # 0.9 + 0.02, 0.02 * 0.8
        [[0.92, 0.016]]
        """
        weight = self.weight * np.exp(self.open_logs[..., list(queries)].sum(axis=-1))
        return self._chained(weight)[-1]

    @property
    def _written(self) -> bool:
        """Whether the kernel is written down; one too large is applied variable by variable."""
        return not self.counts or width(self.counts) <= KERNEL

    def _steps(self, weight: Floats) -> Floats:
        """(R, V, N, N) the kernel, averaged over the states of each variable."""
        shape = self.kernel.shape
        flat = self.kernel.reshape(*shape[:3], -1)
        steps: Floats = np.matmul(weight[..., None, :], flat).reshape(*shape[:2], *shape[3:])
        return steps

    def _met(self, v: int, vectors: Floats, back: bool = False) -> Floats:
        """(R, N, S) what vectors (R, N) become by each state of a variable."""
        logs = np.moveaxis(self.logs[:, v], -1, 0)
        return apply_transition(vectors[..., None], list(map(survival, logs)), self.counts, back)

    def _chained(self, weight: Floats) -> list[Floats]:
        """(R, N) the vectors H of no variable, of the first one, of the first two and so on."""
        vectors = [np.eye(1, width(self.counts)).repeat(len(weight), axis=0)]
        if self._written:
            for step in self._steps(weight).swapaxes(0, 1):
                vectors.append(np.matmul(step, vectors[-1][..., None])[..., 0])
        else:
            for v in range(weight.shape[1]):
                vectors.append(np.matmul(self._met(v, vectors[-1]), weight[:, v, :, None])[..., 0])
        return vectors

    def marginals(self, message: Floats) -> Floats:
        """(R, V, S) posterior weight of each state, from what comes from outside.

        ``message`` is (R, N), the outside's weight for every multi-index left to explain.

        >>> logs = np.log([[[[1.0], [0.2]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs[..., :0], np.array([[4]]))
        >>> family.marginals(np.array([[0.5, 0.5]])).round(6).tolist()  # 0.9 * 0.5, 0.1 * 0.9
        [[[0.45, 0.09]]]
        """
        if not self._written:
            return self._marginals(message)
        left = [message]
        for step in self._steps(self.weight).swapaxes(0, 1)[:0:-1]:
            left.append(np.matmul(left[-1][:, None], step)[:, 0])
        right = np.stack(self._vectors[:-1], axis=1)
        outer = np.stack(left[::-1], axis=1)[..., :, None] * right[..., None, :]
        flat = self.kernel.reshape(*self.weight.shape, -1)
        found: Floats = np.matmul(flat, outer.reshape(*outer.shape[:2], -1, 1))[..., 0]
        return found * self.weight

    def _marginals(self, message: Floats) -> Floats:
        found = np.empty_like(self.weight)
        for v in range(self.weight.shape[1] - 1, -1, -1):
            found[:, v] = np.matmul(message[:, None], self._met(v, self._vectors[v]))[:, 0]
            left = self._met(v, message, back=True)
            message = np.matmul(left, self.weight[:, v, :, None])[..., 0]
        return found * self.weight
