"""One site with so many different failures that its transitions are not written down."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.api import rank
from diagnose.inference import posterior, private
from diagnose.inference.explanation import ExplanationPosterior
from diagnose.inference.network import PRESENT
from diagnose.machine.graph import load_machine
from diagnose.observations.typed import read_typed
from tests.inference.worlds import random_world

POSSIBLE = [seed for seed in range(40) if random_world(seed).weight().sum() > 0]
BLAMING = [seed for seed in POSSIBLE if (random_world(seed).network.outcome == PRESENT).any()]


@pytest.mark.parametrize("seed", POSSIBLE)
def test_the_unwritten_route_agrees_with_enumeration(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(private, "KERNEL", 0)
    world = random_world(seed)
    found = posterior(world.network)
    np.testing.assert_allclose(found.flat, world.marginals(), atol=1e-12, rtol=0)
    assert found.log_evidence == pytest.approx(np.log(world.weight().sum()), abs=1e-12)


@pytest.mark.parametrize("seed", BLAMING[:10])
def test_both_routes_give_the_same_explanation(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    network = random_world(seed).network
    present = [n for n, o in zip(network.finding_names, network.outcome, strict=True) if o == 1]
    written = ExplanationPosterior(network, present[0]).posterior
    monkeypatch.setattr(private, "KERNEL", 0)
    np.testing.assert_allclose(
        ExplanationPosterior(network, present[0]).posterior, written, atol=1e-12
    )


def test_a_row_that_failed_after_eight_remedies_is_still_ranked() -> None:
    machine = load_machine("mounted-6")
    remedies = ["replace-coil@row-6", "replace-driver@row-6", "clean-valve@row-6"]
    again = [word for n in range(8) for word in (f"{remedies[n % 3]}=done", "response=.....F")]
    found = rank(machine, read_typed(machine, ["response=PPPPPF", "oil=54C", *again]))
    assert found.causes[0].rows == (6,)
    assert found.causes[0].probability > 0.01
