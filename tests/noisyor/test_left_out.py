"""What is left out certainly carries less of the evidence than was allowed, and not nothing."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.noisyor.network import Finding, Network
from diagnose.noisyor.solver import Solver
from diagnose.noisyor.sweep import Visit
from tests.noisyor.cases import network
from tests.noisyor.oracle import World
from tests.noisyor.worlds import random_world

ALLOWED = (0.5, 0.1, 1e-2, 1e-4)
SEEDS = range(40)


def many_sites(seed: int) -> World:
    """Ten failing findings at as many sites, each with two or three parents: much is shared."""
    causes = random_world(seed, 7, 1).variables
    rng = np.random.default_rng(seed)
    findings = []
    for f in range(10):
        parents = rng.choice(7, int(rng.integers(2, 4)), replace=False).tolist()
        survival = {
            causes[v].name: (1.0, *rng.choice([0.9, 0.4, 0.05], len(causes[v].prior) - 1).tolist())
            for v in parents
        }
        findings.append(Finding(f"f{f}", survival, 0.02, True, f))
    return World(causes, tuple(findings))


def solver(one: Network, allowed: float) -> Solver:
    """A solver that may leave out so much."""
    found = Solver.of(one.observed(), allowed)
    assert found is not None
    return found


def frontier(one: Solver) -> int:
    """How many weights all frontiers hold."""
    return sum(
        len(step.alike.into) * len(block.world.block.rows)
        for block in one.blocks()
        for part in block.parts
        for step in part.sweep.steps
        if isinstance(step, Visit)
    )


@pytest.mark.slow
@pytest.mark.parametrize("allowed", ALLOWED)
@pytest.mark.parametrize("seed", SEEDS)
def test_enumeration_finds_no_more_missing_than_allowed(seed: int, allowed: float) -> None:
    world = many_sites(seed)
    share = np.exp(solver(world.network, allowed).log_evidence) / world.weight().sum()
    assert 1 - allowed <= share <= 1 + 1e-12


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_allowed_leaves_nothing_out(seed: int) -> None:
    world = many_sites(seed)
    exact = solver(world.network, 0.0)
    found = exact.marginals()
    assert found is not None
    np.testing.assert_allclose(found, world.marginals(), atol=1e-12, rtol=0)


def test_more_is_left_out_where_more_is_allowed() -> None:
    one = network("mounted-12", "all")
    few, some, most = (frontier(solver(one, allowed)) for allowed in (0.1, 1e-4, 1e-10))
    assert 4 * few < some < most / 4


@pytest.mark.slow
@pytest.mark.parametrize("pattern", ["one row", "section", "scattered", "all"])
@pytest.mark.parametrize("allowed", [1e-1, 1e-3, 1e-5])
def test_a_machine_loses_no_more_than_allowed(pattern: str, allowed: float) -> None:
    one = network("mounted-12", pattern)
    exact = solver(one, 1e-14).log_evidence
    assert np.log1p(-allowed) <= solver(one, allowed).log_evidence - exact <= 1e-12


@pytest.mark.parametrize("seed", SEEDS)
def test_no_group_exceeds_its_ceiling(seed: int) -> None:
    one = solver(many_sites(seed).network, 0.0)
    for block in one.blocks(traced=True):
        for part in block.parts:
            for step, trace in zip(part.sweep.steps, part.traces, strict=True):
                if isinstance(step, Visit):
                    with np.errstate(divide="ignore"):
                        log = np.log(trace.product).max(axis=0)
                    most = one.ceiling.groups[step.group, block.world.block.rows]
                    assert (log <= most + 1e-12).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_the_scouts_find_a_lower_bound(seed: int) -> None:
    one = solver(many_sites(seed).network, 0.0)
    scouted = one._floor
    everything = np.concatenate([block.log_common for block in one.blocks()])
    assert scouted <= float(np.logaddexp.reduce(everything)) + 1e-12
