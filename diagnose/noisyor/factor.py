"""What a group of alike sites contributes, for every joint state of what lies outside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.noisyor.kernel import leaving
from diagnose.noisyor.network import Floats


@dataclass(frozen=True)
class Column:
    """One kind of live finding as seen from outside its site: bundle columns and leak."""

    common: int
    shared: int
    leak: float


@dataclass(frozen=True)
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

    def rows(self, tables: Sequence[Floats]) -> Floats:
        """(sites, ...) this group's rows out of one table per family."""
        family = self.members[0][0]
        return tables[family][[row for _, row in self.members]]


@dataclass(frozen=True)
class Survival:
    """Survivals (states, columns) and, found without subtraction, 1 - survival."""

    u: Floats
    gone: Floats

    @classmethod
    def of(cls, logs: Floats) -> Survival:
        """From log survivals."""
        return cls(np.exp(logs), -np.expm1(logs))


def joint_survival(column: Column, common: Survival, shared: Survival) -> tuple[Floats, Floats]:
    """(T, Q) survival of a finding by its leak and all outside states, and 1 - that.

    1 - a b is found as (1 - a) + a (1 - b).
    """
    u = common.u[:, column.common]
    left = u * (1 - column.leak)
    lost = common.gone[:, column.common] + u * column.leak
    b, gone = shared.u[:, column.shared], shared.gone[:, column.shared]
    return left[:, None] * b, lost[:, None] + left[:, None] * gone


def group_terms(group: Group, common: Survival, shared: Survival) -> Floats:
    """(N, T, Q): weight of each multi-index that the outside leaves to the sites."""
    if not group.classes:
        return np.ones((1, len(common.u), len(shared.u)))
    pairs = [joint_survival(column, common, shared) for column in group.classes]
    return leaving([u for u, _ in pairs], [gone for _, gone in pairs], group.counts)


def site_factors(group: Group, polynomials: Floats, common: Survival, shared: Survival) -> Floats:
    """(sites, T, Q): probability of each site's present findings and private weights."""
    return contract(polynomials, group_terms(group, common, shared))


def contract(polynomials: Floats, terms: Floats) -> Floats:
    """(R, T, Q) from (R, N), or (R, T, N) when polynomials differ by common state."""
    if polynomials.ndim == 3:
        found: Floats = np.einsum("rtn,ntq->rtq", polynomials, terms)
        return found
    return (polynomials @ terms.reshape(len(terms), -1)).reshape(-1, *terms.shape[1:])
