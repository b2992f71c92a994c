"""The planner against the optimum of a full dynamic programme, on the smallest machine.

`tests.bench.optimum` does the same at length, for more patterns of failed rows and more rows.
"""

from __future__ import annotations

import numpy as np
import pytest

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


def test_a_row_with_air_is_mended_within_five_per_cent_of_the_optimum(
    likeliest: list[Start],
) -> None:
    start = next(one for one in likeliest if one.pattern == ((1,), ()))
    low, high = start.optimum(seconds=6)
    minutes, follower = start.planner(depth=2)
    assert high <= low * 1.02
    assert low * 0.98 <= minutes <= low * NEAR
    assert follower.cut < 0.01
