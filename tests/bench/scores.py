"""Scores of stated probabilities against what was true.

Brier, G. W. (1950), Monthly Weather Review 78:1-3; decomposition by Murphy (1973).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from diagnose.arrays import Floats


def brier(stated: Floats, true: Floats) -> float:
    """Mean over cases of the summed squared error; stated and true (cases, outcomes), 0 to 2.

    >>> brier(np.array([[0.6, 0.3, 0.1]]), np.array([[1, 0, 0]]))
    0.26
    """
    return float(np.round(((stated - true) ** 2).sum(axis=-1).mean(), 12))


def log_loss(stated: Floats, true: Floats, least: float = 1e-12) -> float:
    """Mean of −ln of the probability of what was true, in nats; (cases, outcomes)."""
    return float(-np.log(np.maximum((stated * true).sum(axis=-1), least)).mean())


def reliability(
    stated: Floats, happened: Floats, edges: Sequence[float]
) -> list[tuple[float, float, int]]:
    """Per bin of stated probability: mean stated, share that happened, how many."""
    place = np.digitize(stated, edges[1:-1])
    rows = []
    for number in range(len(edges) - 1):
        mine = place == number
        if mine.any():
            rows.append((float(stated[mine].mean()), float(happened[mine].mean()), int(mine.sum())))
    return rows


def calibration_error(stated: Floats, happened: Floats, edges: Sequence[float]) -> float:
    """Expected calibration error: mean over bins of |stated − happened|, weighted by their size."""
    rows = reliability(stated, happened, edges)
    return sum(count * abs(p - o) for p, o, count in rows) / len(stated)
