"""Marginals, evidence and joint queries against brute force over all joint states."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.inference import Finding, Network, posterior
from diagnose.inference.posterior import conflict, log_evidence
from diagnose.inference.solver import NEGLIGIBLE
from tests.inference.oracle import World
from tests.inference.section_thrice import section_thrice
from tests.inference.worlds import random_world

POSSIBLE = [seed for seed in range(60) if random_world(seed).weight().sum() > 0]
IMPOSSIBLE = [seed for seed in range(400) if random_world(seed, 3, 6).weight().sum() == 0]


@pytest.mark.parametrize("seed", POSSIBLE)
def test_marginals_and_evidence_are_those_of_enumeration(seed: int) -> None:
    world = random_world(seed)
    found = posterior(world.network)
    np.testing.assert_allclose(found.flat, world.marginals(), atol=1e-12, rtol=0)
    assert found.log_evidence == pytest.approx(np.log(world.weight().sum()), abs=1e-12)


@pytest.mark.parametrize("seed", POSSIBLE[:30])
def test_joint_probabilities_are_those_of_enumeration(seed: int) -> None:
    world = random_world(seed)
    asked = {"v0": [1], "v2": [0], "v4": [0, 1]}
    assert posterior(world.network).probability(asked) == pytest.approx(
        world.probability(asked), abs=1e-12
    )


@pytest.mark.parametrize("seed", POSSIBLE[:20])
def test_open_findings_tell_nothing(seed: int) -> None:
    world = random_world(seed)
    closed = World(world.variables, tuple(f for f in world.findings if f.present is not None))
    np.testing.assert_allclose(
        posterior(world.network).flat, posterior(closed.network).flat, atol=1e-14
    )


def test_some_random_worlds_are_impossible() -> None:
    assert len(IMPOSSIBLE) >= 10


@pytest.mark.parametrize("seed", IMPOSSIBLE[:40])
def test_impossible_evidence_has_no_log_evidence(seed: int) -> None:
    assert posterior(random_world(seed, 3, 6).network).log_evidence == -np.inf


@pytest.mark.parametrize("seed", IMPOSSIBLE[:40])
def test_a_conflict_is_impossible_and_each_part_of_it_is_needed(seed: int) -> None:
    world = random_world(seed, 3, 6)
    named = conflict(world.network)
    rest = [f.name for f in world.findings if f.name not in named]
    assert world.weight(rest).sum() == 0
    assert all(world.weight([*rest, name]).sum() > 0 for name in named)


def test_possible_evidence_has_no_conflict() -> None:
    assert conflict(random_world(POSSIBLE[0]).network) == ()


def test_nothing_observed_leaves_the_priors() -> None:
    world = World(random_world(3).variables, ())
    found = posterior(world.network)
    np.testing.assert_allclose(found.flat, world.network.prior, atol=1e-15)
    assert log_evidence(world.network) == pytest.approx(0.0, abs=1e-15)


def test_six_rows_failing_three_runs_agree_with_enumeration() -> None:
    world = section_thrice()
    found = posterior(world.network)
    np.testing.assert_allclose(found.flat, world.marginals(), atol=NEGLIGIBLE, rtol=0)
    assert found.log_evidence == pytest.approx(np.log(world.weight().sum()), abs=NEGLIGIBLE)


def test_findings_without_any_cause_are_due_to_their_leaks() -> None:
    findings = [Finding("a", {}, 0.25, True), Finding("b", {}, 0.5, False)]
    assert np.exp(posterior(Network.of([], findings)).log_evidence) == pytest.approx(0.125)
