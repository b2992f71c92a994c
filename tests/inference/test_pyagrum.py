"""Machine networks against pyAgrum, which shares no code with us: 1e-9 everywhere."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from diagnose.inference import posterior
from diagnose.inference.network import Network
from tests.inference.agrum import smallest
from tests.inference.cases import PATTERNS, network, random_network

SPARE = float(np.log(1e-12))
"""Log share of the evidence that pyAgrum may leave out; evidence itself is compared."""


def agrees(one: Network) -> None:
    """Fails unless pyAgrum finds the same evidence and marginals."""
    found = posterior(one)
    log, flat = smallest(one, found.log_evidence + SPARE).answer("LazyPropagation")
    np.testing.assert_allclose(found.flat, flat, atol=1e-9, rtol=0)
    assert found.log_evidence == pytest.approx(log, abs=1e-9)


UNSTATED = [
    *product(["mounted-6"], PATTERNS),
    *product(["mounted-12"], ["one row", "section", "scattered"]),
]
"""All of 12 rows failing in unstated circumstances needs tables that pyAgrum cannot hold."""


@pytest.mark.parametrize(("machine", "pattern"), UNSTATED)
def test_unstated_circumstances_agree_with_pyagrum(machine: str, pattern: str) -> None:
    agrees(network(machine, pattern, known=False, again=False))


@pytest.mark.parametrize("pattern", ["one row", "section", "scattered"])
@pytest.mark.parametrize("machine", ["mounted-6", "mounted-12"])
def test_failed_rows_run_once_more_agree_with_pyagrum(machine: str, pattern: str) -> None:
    agrees(network(machine, pattern, known=True, again=True))


def test_twelve_rows_all_failing_both_checks_agree_with_pyagrum() -> None:
    agrees(network("mounted-12", "all", known=True, again=False))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("machine", ["mounted-6", "mounted-12"])
def test_random_runs_agree_with_pyagrum(machine: str, seed: int) -> None:
    agrees(random_network(machine, seed))
