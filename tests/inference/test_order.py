"""The order of variables and findings, and what sites are called, never matter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.inference import posterior
from tests.inference.oracle import World
from tests.inference.worlds import random_world

SEEDS = st.integers(0, 10_000).filter(lambda seed: random_world(seed).weight().sum() > 1e-12)


def same(one: World, other: World) -> None:
    """Fails unless both worlds have the same answer."""
    before, after = posterior(one.network), posterior(other.network)
    assert abs(before.log_evidence - after.log_evidence) < 1e-11
    for variable in one.variables:
        np.testing.assert_allclose(
            before.marginal(variable.name), after.marginal(variable.name), atol=1e-11
        )


@settings(max_examples=60, deadline=None, derandomize=True)
@given(SEEDS, st.permutations(range(6)), st.permutations(range(8)))
def test_order_never_changes_the_answer(seed: int, causes: list[int], order: list[int]) -> None:
    world = random_world(seed)
    same(
        world,
        World(tuple(world.variables[v] for v in causes), tuple(world.findings[f] for f in order)),
    )


@settings(max_examples=60, deadline=None, derandomize=True)
@given(SEEDS, st.lists(st.sampled_from(["a", "b", "c", None]), min_size=8, max_size=8))
def test_sites_never_change_the_answer(seed: int, sites: list[str | None]) -> None:
    world = random_world(seed)
    moved = [replace(f, site=site) for f, site in zip(world.findings, sites, strict=True)]
    same(world, World(world.variables, tuple(moved)))
