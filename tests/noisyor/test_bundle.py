"""Joint states are merged only where they really are alike."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.noisyor import posterior
from diagnose.noisyor.bundle import alike, heavy
from diagnose.noisyor.network import Finding, Variable
from tests.noisyor.oracle import World

TWICE_BACK = ((0.072, 0.81, 0.072), (0.108, 0.36, 0.108))
"""Log survivals that differ by (a, -2a, a): a sum with even weights cannot tell them apart."""

CHANCES = st.sampled_from([0.0, 0.1, 0.4, 0.8, 0.98])


def merged(survivals: object) -> int:
    """How many different states some survivals make."""
    with np.errstate(divide="ignore"):
        return len(alike(np.log(np.asarray(survivals, dtype=float)))[0])


def test_states_that_differ_up_and_down_evenly_stay_apart() -> None:
    assert merged(TWICE_BACK) == 2


@pytest.mark.slow
@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.lists(st.lists(CHANCES, min_size=8, max_size=8), min_size=2, max_size=40))
def test_as_many_states_remain_as_there_are_different_survivals(given_: list[list[float]]) -> None:
    chances = 1 - np.array(given_)
    products = np.round(np.stack([row[:4] * row[4:] for row in chances]), 12)
    assert merged(products) == len(np.unique(products, axis=0))


@pytest.mark.parametrize("shift", range(4))
def test_every_pattern_of_even_differences_stays_apart(shift: int) -> None:
    logs = np.full((5, 8), -5.0)
    for row, step in enumerate(((1, -2, 1), (1, -1, -1, 1), (2, -3, 0, 1), (1, -3, 3, -1)), 1):
        logs[row, shift : shift + len(step)] += np.array(step) * 0.25
    assert len(alike(logs)[0]) == 5


def test_a_pump_seen_by_three_runs_on_two_rows_agrees_with_enumeration() -> None:
    pump = Variable("pump", (0.8, 0.15, 0.05))
    lets = [{"pump": (1.0, *pair)} for pair in zip(*TWICE_BACK, strict=True)]
    seen = [Finding(f"{row}#{r}", lets[r], 0.01, row == 1 or r == 0, row)
            for row in (1, 2, 3) for r in range(3)]  # fmt: skip
    world = World((pump,), tuple(seen))
    np.testing.assert_allclose(posterior(world.network).flat, world.marginals(), atol=1e-12)


def left_one_by_one(weights: list[float], spare: float) -> list[int]:
    """The states that remain when the lightest is left out for as long as the sum allows it."""
    left, gone = sorted(range(len(weights)), key=lambda k: weights[k]), 0.0
    while len(left) > 1 and gone + weights[left[0]] <= spare:
        gone += weights[left.pop(0)]
    return sorted(left)


@pytest.mark.parametrize("count", [1, 3, 20, 2000])
@pytest.mark.parametrize("spare", [0.0, 1e-6, 0.01, 0.3, 5.0])
def test_the_lightest_are_left_out_one_by_one(count: int, spare: float) -> None:
    rng = np.random.default_rng(count)
    weights = 10.0 ** rng.uniform(-9, 0, count) * (rng.random(count) < 0.9)
    weights /= max(weights.sum(), 1e-300)
    assert heavy(weights, spare).tolist() == left_one_by_one(weights.tolist(), spare)
