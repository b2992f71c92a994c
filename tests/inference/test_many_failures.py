"""Hundreds of failures: no underflow, and the answer of an independent sum of logarithms."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from diagnose.inference import posterior
from diagnose.inference.network import Finding, Network, Variable

PUMP, BUS = (0.97, 0.02, 0.01), (0.99, 0.01)
PUMP_LETS, BUS_LETS = (1.0, 0.9, 0.6), (1.0, 0.9)
VALVE, VALVE_LETS = (0.99, 0.006, 0.004), (1.0, 0.2, 0.02)
LEAK = 0.002


def all_failing(rows: int, runs: int) -> Network:
    """Every row failed every run, each with a valve of its own and weak shared causes."""
    survival = {"pump": PUMP_LETS, "bus": BUS_LETS}
    return Network.of(
        [
            Variable("pump", PUMP),
            Variable("bus", BUS),
            *(Variable(f"valve-{row}", VALVE) for row in range(rows)),
        ],
        [
            Finding(f"{row}#{run}", {**survival, f"valve-{row}": VALVE_LETS}, LEAK, True, row)
            for row in range(rows)
            for run in range(runs)
        ],
    )


def log_route(rows: int, runs: int) -> float:
    """Given pump and bus all rows are alike, so one row's sum to the power of the rows."""
    logs = []
    for p, b in product(range(len(PUMP)), range(len(BUS))):
        passing = (1 - LEAK) * PUMP_LETS[p] * BUS_LETS[b] * np.array(VALVE_LETS)
        row = np.log(np.dot(VALVE, (1 - passing) ** runs))
        logs.append(np.log(PUMP[p]) + np.log(BUS[b]) + rows * row)
    return float(np.logaddexp.reduce(logs))


@pytest.mark.parametrize(("rows", "runs"), [(12, 2), (96, 2), (96, 4), (480, 3)])
def test_log_evidence_is_that_of_a_sum_of_logarithms(rows: int, runs: int) -> None:
    found = posterior(all_failing(rows, runs))
    assert found.log_evidence == pytest.approx(log_route(rows, runs), rel=1e-12)


def test_nothing_underflows_where_a_plain_product_would() -> None:
    found = posterior(all_failing(480, 3))
    assert np.exp(found.log_evidence) == 0.0
    assert np.isfinite(found.flat).all()
    assert np.add.reduceat(found.flat, found.network.offsets[:-1]) == pytest.approx(1.0)
