"""Variables that matter to one site only, summed away for many sites at once.

A *family* holds sites of one shape: the same counts of presences per class and the same
number of open findings. What a site's private variables have to say to everything outside
is a vector H over multi-indices: the weight with which they explain what others leave.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from diagnose.noisyor.budget import table
from diagnose.noisyor.kernel import passed_on, transitions, width
from diagnose.noisyor.network import Floats, Ints
from diagnose.record import record

WIDE = 128
"""Multi-indices above which transitions (their number squared) are applied, not written down."""


@record
class Family:
    """Sites of one shape (R sites, at most V private variables of at most S states each).

    Parameters
    ----------
    counts: presences per class.
    weight: (R, V, S) weight of each state; padding has weight 0, or 1 on state 0.
    log_survival: (R, V, S, classes) for the classes of present findings.
    log_open: (R, V, S, Q) for the open findings.
    variable: (R, V) number of the variable, -1 for padding.
    """

    counts: tuple[int, ...]
    weight: Floats
    log_survival: Floats
    log_open: Floats
    variable: Ints

    @cached_property
    def _pattern(self) -> tuple[Ints, list[Ints]]:
        """Sites with the same survivals: the pattern of each, and the sites of each pattern."""
        number: dict[bytes, int] = {}
        tables = (table.tobytes() for table in self.log_survival)
        of = np.array([number.setdefault(table, len(number)) for table in tables], dtype=np.intp)
        return of, [np.flatnonzero(of == k) for k in range(len(number))]

    @cached_property
    def kernel(self) -> Floats:
        """(patterns, V, S, N, N) transition of multi-indices by each state.

        >>> logs = np.log([[[[0.5], [0.25]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs[..., :0], np.array([[4]]))
        >>> family.kernel.round(6).tolist()
        [[[[[1.0, 0.0], [0.5, 0.5]], [[1.0, 0.0], [0.75, 0.25]]]]]
        """
        firsts = [sites[0] for sites in self._pattern[1]]
        table(len(firsts) * self.weight[0].size * width(self.counts) ** 2)
        return transitions(self.log_survival[firsts], self.counts)

    @cached_property
    def steps(self) -> Floats:
        """(R, V, N, N) the same for each site, averaged over the states of each variable.

        >>> logs = np.log([[[[1.0], [0.2]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs[..., :0], np.array([[4]]))
        >>> family.steps.round(6).tolist()  # 0.1 of the weight explains 0.8 of it
        [[[[1.0, 0.0], [0.08, 0.92]]]]
        """
        return self._averaged(self.weight)

    def _averaged(self, weight: Floats) -> Floats:
        size = self.kernel.shape[-1]
        steps = np.empty((*weight.shape[:2], size, size))
        for sites, kernel in zip(self._pattern[1], self.kernel, strict=True):
            steps[sites] = averaged(weight[sites], kernel)
        return steps

    @property
    def wide(self) -> bool:
        """Whether the transitions would be too large to be written down.

        >>> empty_family([7, 15], 1, 0).wide, empty_family([8, 15], 1, 0).wide  # 128, 144
        (False, True)
        """
        return width(self.counts) > WIDE

    @cached_property
    def polynomial(self) -> Floats:
        """(R, N) the vectors H.

        >>> logs = np.log([[[[1.0], [0.2]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs[..., :0], np.array([[4]]))
        >>> family.polynomial.round(6).tolist()  # nothing to explain, and one presence
        [[1.0, 0.08]]
        """
        if self.wide:
            return np.stack(
                [self._chained(row, self.weight[row]) for row in range(len(self.weight))]
            )
        return self._so_far[-1]

    @cached_property
    def _so_far(self) -> list[Floats]:
        """(R, N) the vectors H of the first variables only: of none, of one, and so on to all."""
        return chained(self.steps)

    def _chained(self, row: int, weight: Floats) -> Floats:
        """(..., N) the same for one row, with no transition written down; weight (..., V, S)."""
        flat = weight.reshape(-1, *weight.shape[-2:])
        table(len(flat) * flat[0][0].size * width(self.counts), 2.0)
        vector = np.eye(1, width(self.counts)).repeat(len(flat), axis=0)
        for v in range(flat.shape[1]):
            vector = np.einsum("bns,bs->bn", self._acted_on(row, v, vector), flat[:, v])
        return vector.reshape(*weight.shape[:-2], -1)

    def _acted_on(self, row: int, v: int, vector: Floats, back: bool = False) -> Floats:
        """(B, N, S) what vectors (B, N) become by each state of a variable."""
        logs = self.log_survival[row, v].T
        survivals = [(np.exp(log), -np.expm1(log)) for log in logs]
        return passed_on(vector[..., None], survivals, self.counts, back)

    def absent(self, row: int, queries: Sequence[int], weight: Floats) -> Floats:
        """(..., N) the vectors H of one site when these open findings of it turn out absent.

        ``weight`` (..., V, S) stands in place of the site's own.

        >>> logs = np.log([[[[1.0], [0.2]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs, np.array([[4]]))
        >>> family.absent(0, [0], np.array([[0.5, 0.5]])).round(6).tolist()  # 0.5 + 0.1, 0.1 * 0.8
        [0.6, 0.08]
        """
        for query in queries:
            weight = weight * np.exp(self.log_open[row, ..., query])
        if self.wide:
            return self._chained(row, weight)
        return chain(averaged(weight, self.kernel[self._pattern[0][row]]))

    def absences(self, queries: Sequence[int]) -> Floats:
        """(R, N) the vectors H when these open findings turn out absent at every site.

        >>> logs = np.log([[[[1.0], [0.2]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs, np.array([[4]]))
        >>> family.absences([0]).round(6).tolist()  # 0.9 + 0.02, 0.02 * 0.8
        [[0.92, 0.016]]
        """
        if self.wide:
            rows = range(len(self.weight))
            return np.stack([self.absent(row, queries, self.weight[row]) for row in rows])
        weight = self.weight * np.exp(self.log_open[..., list(queries)].sum(axis=-1))
        return chain(self._averaged(weight))

    def marginals(self, message: Floats) -> Floats:
        """(R, V, S) posterior weight of each state, given what comes from outside.

        Parameters
        ----------
        message: (R, N) the outside's weight for every multi-index left to explain.

        >>> logs = np.log([[[[1.0], [0.2]]]])
        >>> family = Family((1,), np.array([[[0.9, 0.1]]]), logs, logs[..., :0], np.array([[4]]))
        >>> family.marginals(np.array([[0.5, 0.5]])).round(6).tolist()  # 0.9 * 0.5, 0.1 * 0.9
        [[[0.45, 0.09]]]
        """
        if self.wide:
            return np.stack([self._marginals(row, one) for row, one in enumerate(message)])
        left = [message]
        for v in range(self.steps.shape[1] - 1, 0, -1):
            left.append(np.matmul(left[-1][:, None, :], self.steps[:, v])[:, 0])
        right = np.stack(self._so_far[:-1], axis=1)
        outer = np.stack(left[::-1], axis=1)[..., :, None] * right[..., None, :]
        found = np.empty_like(self.weight)
        for sites, kernel in zip(self._pattern[1], self.kernel, strict=True):
            pairs = outer[sites].reshape(len(sites), len(kernel), -1, 1)
            found[sites] = np.matmul(kernel.reshape(*kernel.shape[:2], -1), pairs)[..., 0]
        return found * self.weight

    def _marginals(self, row: int, message: Floats) -> Floats:
        """(V, S) the same for one row, with no transition written down."""
        weight = self.weight[row]
        table(weight[0].size * width(self.counts), 2.0)
        right = [np.eye(1, width(self.counts))]
        for v in range(len(weight) - 1):
            right.append(self._acted_on(row, v, right[-1]) @ weight[v])
        left: Floats = message[None]
        found: Floats = np.empty(weight.shape)
        for v in range(len(weight) - 1, -1, -1):
            found[v] = np.einsum("bn,bns->s", left, self._acted_on(row, v, right[v])) * weight[v]
            left = self._acted_on(row, v, left, back=True) @ weight[v]
        return found


def averaged(weight: Floats, kernel: Floats) -> Floats:
    """(..., V, N, N): kernels averaged with the weights of the states.

    >>> keeps, explains = np.eye(2), np.array([[1.0, 0.0], [1.0, 0.0]])
    >>> averaged(np.array([[0.25, 0.75]]), np.array([[keeps, explains]])).tolist()
    [[[1.0, 0.0], [0.75, 0.25]]]
    """
    shape = kernel.shape
    table(weight[..., 0].size * shape[-1] ** 2, 2.0)
    flat = kernel.reshape(*shape[:-2], shape[-1] * shape[-2])
    mean = np.matmul(weight[..., None, :], flat)[..., 0, :]
    matrices: Floats = mean.reshape(*mean.shape[:-1], *shape[-2:])
    return matrices


def chain(steps: Floats) -> Floats:
    """(..., N): the variables' matrices applied one after another to "all explained".

    >>> half = np.array([[1.0, 0.0], [0.5, 0.5]])
    >>> chain(np.array([half, half])).tolist()
    [1.0, 0.75]
    """
    return chained(steps)[-1]


def chained(steps: Floats) -> list[Floats]:
    """(..., N) for no variable, for the first one, for the first two and so on: see `chain`.

    >>> half = np.array([[1.0, 0.0], [0.5, 0.5]])
    >>> [vector.tolist() for vector in chained(np.array([half, half]))]
    [[1.0, 0.0], [1.0, 0.5], [1.0, 0.75]]
    """
    first = np.zeros((*steps.shape[:-3], steps.shape[-1]))
    first[..., 0] = 1.0
    vectors = [first]
    for v in range(steps.shape[-3]):
        vectors.append(np.matmul(steps[..., v, :, :], vectors[-1][..., None])[..., 0])
    return vectors


def empty_family(counts: Sequence[int], sites: int, queries: int) -> Family:
    """A family whose sites have no private variables at all.

    >>> empty_family([1], 2, 0).polynomial.tolist()
    [[1.0, 0.0], [1.0, 0.0]]
    """
    return Family(
        tuple(counts),
        np.ones((sites, 1, 1)),
        np.zeros((sites, 1, 1, len(counts))),
        np.zeros((sites, 1, 1, queries)),
        np.full((sites, 1), -1, dtype=np.intp),
    )
