"""What a run was made with wrongly is put right once, whatever is done but handing over."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import pytest

from diagnose.decision.lookahead import Act, Decision, Valued
from diagnose.planner.decide import _put_right_once
from diagnose.planner.problem import TroubleshootingProblem

REPAIR, TEST, HAND_OVER = Act("repair", 0, "repair"), Act("test", 0, "test"), Act("last resort")
MORE = cast(TroubleshootingProblem, SimpleNamespace(putting_right=10.0))
"""Ten minutes of putting right."""


def decided(act: Act, *ranked: tuple[Act, float]) -> Decision:
    """A decision for one of some acts with their minutes, best first."""
    minutes = dict(ranked)[act]
    return Decision(act, minutes, 0.0, True, 1, tuple(Valued(one, it, 1) for one, it in ranked))


@pytest.mark.parametrize(("act", "minutes"), [(REPAIR, 30.0), (TEST, 35.0)])
def test_the_minutes_of_what_was_chosen_count_it(act: Act, minutes: float) -> None:
    """Also where something else stands first."""
    found = _put_right_once(MORE, decided(act, (REPAIR, 20.0), (TEST, 25.0)))
    assert (found.act, found.value) == (act, minutes)


def test_handing_over_does_without_and_may_come_first_for_it() -> None:
    found = _put_right_once(MORE, decided(REPAIR, (REPAIR, 20.0), (HAND_OVER, 25.0)))
    assert (found.act, found.value) == (HAND_OVER, 25.0)
    assert [(each.act, each.value) for each in found.ranked] == [(HAND_OVER, 25.0), (REPAIR, 30.0)]
