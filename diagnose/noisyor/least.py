"""How much weight a variable's joint states may lose without being missed in the evidence.

That takes a lower bound of the evidence before anything is swept: the best of a few joint states
of all common and shared variables, worked out with everything private.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.noisyor.bundle import FLOOR, Part
from diagnose.noisyor.factor import Group, Survival, left_by_common, site_factors
from diagnose.noisyor.network import Floats
from diagnose.noisyor.site import Family
from diagnose.record import record

SharedParts = tuple[list[Part], dict[int, int], frozenset[int]]
"""A bundle to be: its variables, the column of each shared signature, the groups served."""


@record
class Pieces:
    """What a plan is made of; ``columns`` counts the common and the shared signatures."""

    families: tuple[Family, ...]
    groups: tuple[Group, ...]
    common: list[Part]
    shared: list[SharedParts]
    columns: tuple[int, int]


def certain(pieces: Pieces, least: float) -> float:
    """A lower bound on the evidence per weight that one variable's joint states may lose.

    A joint state of weight w carries at most w times everything else at its heaviest. The log
    evidence is ``least`` or more, if that is known.

    >>> part = Part(0, np.array([1.0, 0.5]), np.zeros((2, 1)))
    >>> pieces = Pieces((), (), [part], [], columns=(1, 1))
    >>> round(3 * certain(pieces, -np.inf), 6)  # of a weight of 1.5 the heaviest has 1
    0.666667
    >>> round(3 * certain(pieces, np.log(1.2)), 6)
    0.8
    """
    parts = [*pieces.common, *(part for some, _, _ in pieces.shared for part in some)]
    if not parts:
        return 0.0
    if least == -np.inf:
        least = _lowest(pieces)
    most = sum(float(np.log(family.polynomial[:, 0]).sum()) for family in pieces.families)
    most += sum(float(np.log(part.weight.sum())) for part in parts)
    return float(np.exp(min(least - most, 0.0))) / (2 * len(parts) + 1)


def _lowest(pieces: Pieces) -> float:
    """The log evidence of one joint state of all common and shared variables.

    The best of a few: every variable at its heaviest state, or one common variable elsewhere.
    """
    polynomials = [family.polynomial for family in pieces.families]
    log_weight, table = _candidates(pieces.common, pieces.columns[0])
    fixed = np.zeros((1, pieces.columns[1]))
    for some, columns, _ in pieces.shared:
        for part in some:
            fixed[0, list(columns)] += part.log_survival[part.weight.argmax()]
    at_common, at_shared = Survival.of(table), Survival.of(fixed)
    with np.errstate(divide="ignore"):
        for group in pieces.groups:
            left = left_by_common(group, at_common)
            factors = site_factors(group, group.rows(polynomials), left, at_shared)
            log_weight = log_weight + np.log(factors[:, 0]).sum(axis=0)
    return float(log_weight.max())


def _candidates(parts: Sequence[Part], columns: int) -> tuple[Floats, Floats]:
    """Log weights and log survivals: all variables at their heaviest, or one elsewhere."""
    best = [int(part.weight.argmax()) for part in parts]
    base = sum(
        (part.log_survival[b] for part, b in zip(parts, best, strict=True)), np.zeros(columns)
    )
    weights, tables = [np.zeros(1)], [base[None, :]]
    with np.errstate(divide="ignore"):
        for part, b in zip(parts, best, strict=True):
            weights.append(np.log(part.weight))
            own = np.maximum(part.log_survival, FLOOR)
            tables.append(base - own[b] + own)
    return np.concatenate(weights), np.concatenate(tables)
