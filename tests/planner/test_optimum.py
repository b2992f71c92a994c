"""The planner against the optimum of a full dynamic programme, on the smallest machine.

`tests.bench.optimum` does the same at length, for more patterns of failed rows and more rows.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.acts import Place
from tests.bench.bounds import Least
from tests.bench.dynamic import Optimum, Shelf
from tests.bench.explicit import Floats
from tests.bench.followed import Follower
from tests.bench.optimum import Start, starts

NEAR = 1.05
"""So near the optimum the planner's mean has to be."""


@pytest.fixture(scope="module")
def likeliest() -> list[Start]:
    return list(starts(2, held=0.9))


def test_outcomes_are_as_likely_as_the_planner_infers(likeliest: list[Start]) -> None:
    """The sound set of faults by both routes, which share nothing but the knowledge."""
    for start in likeliest:
        ranking = Follower(start.shop, start.model, 1).begin(start.pattern)
        blamed = {(cause.part, cause.mode): cause.probability for cause in ranking.causes}
        for fault, inferred in blamed.items():
            own = [fault in faults for faults in start.shop.worlds.sets]
            assert float(start.belief @ np.array(own)) == pytest.approx(inferred, abs=0.005)


@pytest.mark.slow
def test_a_row_with_air_is_mended_within_five_per_cent_of_the_optimum(
    likeliest: list[Start],
) -> None:
    start = next(one for one in likeliest if one.pattern == ((1,), ()))
    low, high = start.optimum(seconds=6)
    minutes, follower = start.planner(depth=2)
    assert high <= low * 1.02
    assert low * 0.98 <= minutes <= low * NEAR
    assert follower.cut < 0.01


def test_known_beliefs_bound_every_other_belief_from_below() -> None:
    """The least of a few plans, known at some beliefs, on the edge of the simplex too."""
    random = np.random.default_rng(0)
    plans = random.uniform(10, 90, (6, 4))
    shelf = Shelf(plans.min(axis=0), plans.max(axis=0))
    beliefs = random.dirichlet(np.full(4, 0.5), 60) * (random.random((60, 4)) < 0.8)
    known, others = np.split(beliefs[beliefs.sum(axis=1) > 0], 2)
    for belief in known:
        shelf.raise_low(belief, float((plans @ belief).min()))
    for belief in known:
        assert shelf.low(belief) == pytest.approx(float((plans @ belief).min()))
    for belief in others:
        assert shelf.low(belief) <= float((plans @ belief).min()) + 1e-9


@pytest.mark.slow
def test_bounds_agree_with_every_act_tried_two_deep(likeliest: list[Start]) -> None:
    """Plain recursion, whose ends are handed over at once or mended by who sees the faults."""
    start = next(one for one in likeliest if one.pattern == ((1,), ()))
    place, belief = start.shop.start(start.pattern), start.belief
    low, high = Optimum(start.shop).solve(place, belief, gap=0.005, seconds=6)
    least, most = _tried(Least(start.shop), place, belief, 2)
    assert low <= most
    assert least <= high
    assert high <= most


def _tried(least: Least, place: Place, belief: Floats, deep: int) -> tuple[float, float]:
    shop, mass = least.shop, float(belief.sum())
    proof = None if place.rows else shop.proof(place)
    if not place.rows and proof is None:
        return 0.0, 0.0
    last = shop.knowledge.rates.hand_over_minutes * mass
    if place.rows and not deep:
        return min(last, float(least.minutes(place) @ belief)), last
    found = [(last, last)] if place.rows else []
    for doing in [proof] if proof else shop.doings(place):
        effect = shop.effect(place, doing)
        after = zip(effect.places, effect.after(belief), strict=True)
        ends = [_tried(least, then, b, deep - bool(place.rows)) for then, b in after if b.any()]
        found.append(tuple(effect.cost * mass + sum(side) for side in zip(*ends, strict=True)))
    return min(one[0] for one in found), min(one[1] for one in found)
