"""Scores against worked values (item numbers of the published checks are in the names)."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.scores import brier, calibration_error, log_loss, reliability

STATED = np.array([[0.6, 0.3, 0.1], [0.2, 0.5, 0.3], [0.1, 0.2, 0.7], [0.5, 0.4, 0.1]])
TRUE = np.eye(3)[[0, 1, 2, 1]]


def test_brier_and_log_loss_of_four_forecasts() -> None:
    """Recomputed from the definitions of Brier (1950): .26, .38, .14, .62, mean 0.35."""
    assert brier(STATED, TRUE) == pytest.approx(0.35)
    assert log_loss(STATED, TRUE) == pytest.approx(0.6192346, abs=1e-7)


def test_reliability_by_value() -> None:
    """Recomputed: 0.15 = 0.0033333 − 0.1033333 + 0.25 (Murphy 1973); calibration error 0.04."""
    stated = np.array([0.1, 0.1, 0.4, 0.4, 0.4, *[0.8] * 5])
    happened = np.array([0, 0, 0, 1, 0, 1, 1, 0, 1, 1], dtype=float)
    edges = (0.0, 0.2, 0.6, 1.0)
    rows = reliability(stated, happened, edges)
    spread = sum(n * (p - o) ** 2 for p, o, n in rows) / 10
    resolved = sum(n * (o - happened.mean()) ** 2 for _, o, n in rows) / 10
    assert spread == pytest.approx(0.0033333, abs=1e-7)
    assert resolved == pytest.approx(0.1033333, abs=1e-7)
    assert spread - resolved + 0.25 == pytest.approx(((stated - happened) ** 2).mean())
    assert calibration_error(stated, happened, edges) == pytest.approx(0.04)
