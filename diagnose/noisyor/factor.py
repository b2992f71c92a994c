"""What a group of alike sites contributes, for every joint state of what lies outside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np

from diagnose.noisyor.budget import STEP, table
from diagnose.noisyor.kernel import Sighting, leaving, passed_on, width
from diagnose.noisyor.network import Floats, Ints
from diagnose.record import record

FLOPS = 8.0
"""So many terms of a matrix product take as long as an entry of another table."""


@record
class Column:
    """One kind of live finding as seen from outside its site: bundle columns and leak.

    ``besides`` are findings that differ from it by what is common and by their leaks only: the
    common column, the leak, and how many.
    """

    common: int
    shared: int
    leak: float
    besides: tuple[tuple[int, float, int], ...] = ()

    def outsides(self, count: int) -> tuple[tuple[int, float, int], ...]:
        """All the ``count`` findings of the kind, by common column and leak.

        >>> Column(0, 0, 0.5, ((1, 0.5, 2),)).outsides(5)
        ((0, 0.5, 3), (1, 0.5, 2))
        """
        first = count - sum([times for _, _, times in self.besides])
        return (self.common, self.leak, first), *self.besides


@record
class Group:
    """Sites with the same outside.

    Parameters
    ----------
    classes, counts: the kinds of present findings and how many there are of each.
    queries: the kinds of open findings, in the order of the sites' open findings.
    sites: numbers of the sites.
    members: for each site its family and its row in that family.
    """

    classes: tuple[Column, ...]
    counts: tuple[int, ...]
    queries: tuple[Column, ...]
    sites: tuple[int, ...]
    members: tuple[tuple[int, int], ...]

    @cached_property
    def outsides(self) -> tuple[tuple[tuple[int, float, int], ...], ...]:
        """By class, all findings by common column and leak: see `Column.outsides`.

        >>> Group((Column(0, 0, 0.5),), (2,), (), sites=(5,), members=((1, 0),)).outsides
        (((0, 0.5, 2),),)
        """
        pairs = zip(self.classes, self.counts, strict=True)
        return tuple([column.outsides(count) for column, count in pairs])

    def rows(self, tables: Sequence[Floats]) -> Floats:
        """(sites, ...) this group's rows out of one table per family.

        >>> group = Group((), (), (), sites=(5, 6), members=((1, 2), (1, 0)))
        >>> group.rows([np.zeros((3, 1)), np.array([[0.7], [0.8], [0.9]])]).tolist()
        [[0.9], [0.7]]
        """
        family = self.members[0][0]
        return tables[family][[row for _, row in self.members]]


@record
class Survival:
    """Survivals (states, columns) and, found without subtraction, 1 - survival.

    ``place`` says where each column is when only some of them are at hand; the last one, which
    nothing survives less, stands for all others.
    """

    u: Floats
    gone: Floats
    place: Mapping[int, int] | None = None

    @classmethod
    def of(cls, logs: Floats, place: Mapping[int, int] | None = None) -> Survival:
        """From log survivals.

        >>> all_but_sure = Survival.of(np.array([[-1e-20]]))
        >>> all_but_sure.u.tolist(), all_but_sure.gone.tolist()
        ([[1.0]], [[1e-20]])
        """
        return cls(np.exp(logs), -np.expm1(logs), place)

    def at(self, states: Ints) -> Survival:
        """Of some of the states.

        >>> three = Survival.of(np.log([[0.5], [0.25], [0.1]]))
        >>> three.at(np.array([2, 0])).gone.round(6).tolist()
        [[0.9], [0.5]]
        """
        return Survival(self.u[states], self.gone[states], self.place)

    def column(self, number: int) -> tuple[Floats, Floats]:
        """(states) the survivals of one column, and 1 - survival.

        >>> some = Survival.of(np.log([[0.25, 1.0]]), place={7: 0})
        >>> some.column(7)[0].round(6).tolist(), some.column(3)[0].tolist()
        ([0.25], [1.0])
        """
        k = number if self.place is None else self.place.get(number, -1)
        return self.u[:, k], self.gone[:, k]


def open_survival(column: Column, common: Survival, shared: Survival) -> Floats:
    """(D, T) survival of a finding by its leak and all outside states.

    >>> common, shared = Survival.of(np.log([[0.5]])), Survival.of(np.log([[1.0], [0.5]]))
    >>> open_survival(Column(0, 0, leak=0.2), common, shared).round(6).tolist()
    [[0.4], [0.2]]
    """
    left = common.u[:, column.common] * (1 - column.leak)
    return shared.column(column.shared)[0][:, None] * left


def left_by_common(group: Group, common: Survival) -> Floats:
    """(N, T): weight of each multi-index that leaks and common states leave unexplained.

    >>> twice = Group((Column(0, 0, leak=0.2),), (2,), (), (0,), ((0, 0),))
    >>> left_by_common(twice, Survival.of(np.log([[0.5]]))).round(6).tolist()  # each left by 0.4
    [[0.36], [0.48], [0.16]]
    """
    if not group.classes:
        return np.ones((1, len(common.u)))
    table(width(group.counts) * len(common.u), 1.0 + len(group.counts))
    return leaving([[_met(common, *outside) for outside in alike] for alike in group.outsides])


def _met(common: Survival, column: int, leak: float, times: int) -> Sighting:
    """What so many findings meet of leaks and common states."""
    u, gone = common.u[:, column], common.gone[:, column]
    return u * (1 - leak), gone + u * leak, times


def explained(group: Group, polynomials: Floats, shared: Survival) -> Floats:
    """(sites, D, N): what each multi-index is worth to shared and private states together.

    Parameters
    ----------
    polynomials: (sites, N) what it is worth to the private states alone.
    shared: D states.

    >>> once = Group((Column(0, 0, leak=0.0),), (1,), (), (0,), ((0, 0),))
    >>> either = Survival.of(np.log([[1.0], [0.5]]))
    >>> explained(once, np.array([[1.0, 0.4]]), either).round(6).tolist()
    [[[1.0, 0.4], [1.0, 0.7]]]
    """
    table = passed_on(polynomials[..., None], _by_class(group, shared), group.counts)
    every = table if group.classes else table.repeat(len(shared.u), axis=-1)
    return every.swapaxes(-1, -2)


def left_by_shared(group: Group, weights: Floats, shared: Survival) -> Floats:
    """(sites, N): weights of what shared states leave, from (sites, D, N) of what they meet.

    >>> once = Group((Column(0, 0, leak=0.0),), (1,), (), (0,), ((0, 0),))
    >>> unexplained = np.array([[[0.0, 1.0], [0.0, 1.0]]])
    >>> left_by_shared(once, unexplained, Survival.of(np.log([[1.0], [0.25]]))).round(6).tolist()
    [[0.75, 1.25]]
    """
    table = weights.swapaxes(-1, -2)
    left: Floats = passed_on(table, _by_class(group, shared), group.counts, True).sum(axis=-1)
    return left


def _by_class(group: Group, shared: Survival) -> list[tuple[Floats, Floats]]:
    return [shared.column(column.shared) for column in group.classes]


def site_factors(group: Group, polynomials: Floats, left: Floats, shared: Survival) -> Floats:
    """(sites, D, T): probability of each site's present findings and private weights.

    >>> once = Group((Column(0, 0, leak=0.0),), (1,), (), (0,), ((0, 0),))
    >>> half, either = Survival.of(np.log([[0.5]])), Survival.of(np.log([[1.0], [0.5]]))
    >>> private = np.array([[1.0, 0.4]])  # nothing private brings it about: 0.6
    >>> site_factors(once, private, left_by_common(once, half), either).round(6).tolist()
    [[[0.7], [0.85]]]
    """
    states, outside = len(shared.u), left.shape[-1]
    table(len(polynomials) * states * outside, 1.0 + len(left) / FLOPS, STEP)
    factors: Floats = explained(group, polynomials, shared) @ left
    return factors
