"""What is known to have been bad spoils its run nine times in ten, as DEVELOPERS.md says."""

from __future__ import annotations

import pytest

from tests.diagnosis.situations import ranked


@pytest.mark.parametrize("bad", ["engine=off", "oil=10C", "moving=yes", "bleed-hose=fitted"])
def test_a_run_that_tells_nothing_was_spoiled_nine_times_in_ten(bad: str) -> None:
    """With every row unsure there is nothing to weigh: the run is what it was held for before."""
    ranking = ranked("mounted-6", "response=??????", bad)
    spoiled = [c.probability for c in ranking.causes if c.group == "circumstances"]
    assert max(spoiled) == pytest.approx(0.9, abs=0.03)


def test_two_bad_circumstances_share_what_one_would_have() -> None:
    """Nine to nine to one, when both were bad and nothing else can have spoiled the run."""
    good = ("moving=no", "supply=180bar", "bleed-hose=stowed")
    ranking = ranked("mounted-6", *good, "response=??????", "engine=off", "oil=10C")
    chance = {cause.id: cause.probability for cause in ranking.causes}
    both = chance["circumstances/engine@1"], chance["circumstances/oil@1"]
    assert both == pytest.approx((9 / 19, 9 / 19), abs=0.01)
