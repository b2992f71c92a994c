"""What is left out certainly carries no more of the evidence than is said, and not nothing."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.inference import Finding, Network, budget, posterior
from diagnose.inference.aggregation import group_equal
from diagnose.inference.decomposition import decompose
from diagnose.inference.elimination import Visited
from diagnose.inference.pruning import Pruner
from diagnose.inference.solver import Solver
from tests.inference.cases import network
from tests.inference.oracle import World
from tests.inference.worlds import random_world

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
    plan = decompose(one.observed())
    assert plan is not None
    return Solver(plan, allowed).solve()


def log_evidence(one: Network, allowed: float) -> float:
    """What it finds of the evidence."""
    found = solver(one, allowed)
    return found.log_evidence + found.plan.apart


@pytest.mark.parametrize("allowed", ALLOWED)
@pytest.mark.parametrize("seed", SEEDS)
def test_enumeration_finds_no_more_missing_than_allowed(seed: int, allowed: float) -> None:
    world = many_sites(seed)
    found, whole = solver(world.network, allowed), np.log(world.weight().sum())
    share = np.exp(found.log_evidence + found.plan.apart - whole)
    assert 1 - allowed <= share <= 1 + 1e-12
    assert share * (1 + found.left_out) + 1e-12 >= 1


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_allowed_leaves_nothing_out(seed: int) -> None:
    world = many_sites(seed)
    found = solver(world.network, 0.0)
    assert found.left_out == 0.0
    np.testing.assert_allclose(found.marginals(), world.marginals(), atol=1e-12, rtol=0)


def test_more_is_left_out_where_more_is_allowed() -> None:
    one = network("mounted-12", "all")
    few, some, most = (len(solver(one, each).cutset.weight) for each in (0.1, 1e-4, 1e-10))
    assert 2 * few < some < most / 2


@pytest.mark.parametrize("pattern", ["one row", "section", "scattered", "all"])
@pytest.mark.parametrize("allowed", [1e-1, 1e-3, 1e-5])
def test_a_machine_loses_no_more_than_allowed(pattern: str, allowed: float) -> None:
    one = network("mounted-12", pattern)
    lost = log_evidence(one, allowed) - log_evidence(one, 1e-14)
    assert np.log1p(-allowed) <= lost <= 1e-12


@pytest.mark.parametrize("seed", SEEDS)
def test_no_group_exceeds_its_bound(seed: int) -> None:
    one = solver(many_sites(seed).network, 0.0)
    rows = np.arange(len(one.cutset.weight))
    for trace in one.forward(rows, Pruner(-np.inf, 0.0), taped=True).tape:
        if isinstance(trace, Visited):
            with np.errstate(divide="ignore"):
                log = np.log(trace.product).max(axis=0)
            assert (log <= one.cutset.bounds[trace.group] + 1e-12).all()


LIMITS = (3e4, 1e5, 2e5, 1e6)


@pytest.mark.parametrize("limit", LIMITS)
@pytest.mark.parametrize("seed", SEEDS)
def test_bounds_hold_what_enumeration_says(
    seed: int, limit: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With so small a budget that much is left out; `tests.bench.bounded` tries many more."""
    monkeypatch.setattr(budget, "LIMIT", limit)
    world = many_sites(seed)
    found = posterior(world.network, bounded=True)
    limits = np.array([found.bounds(chance) for chance in found.flat.tolist()])
    truth = world.marginals()
    assert (limits[:, 0] <= truth + 1e-9).all()
    assert (truth <= limits[:, 1] + 1e-9).all()


def test_small_budgets_leave_out_more(monkeypatch: pytest.MonkeyPatch) -> None:
    lost = []
    for limit in LIMITS:
        monkeypatch.setattr(budget, "LIMIT", limit)
        every = [posterior(many_sites(seed).network, bounded=True).left_out for seed in range(10)]
        lost.append(float(np.median(every)))
    assert lost == sorted(lost, reverse=True)
    assert lost[0] > 1e-3
    assert lost[-1] < 1e-9


def test_states_that_only_share_a_hash_are_not_merged(monkeypatch: pytest.MonkeyPatch) -> None:
    from diagnose.inference import aggregation

    monkeypatch.setattr(aggregation, "_MIX", np.zeros(4096, dtype=np.int64))
    logs = np.array([[0.0, -1.0], [-1.0, 0.0], [0.0, -1.0]])
    first, into = group_equal(logs)
    assert len(first) == 2
    np.testing.assert_array_equal(logs[first][into], logs)
