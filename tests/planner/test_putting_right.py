"""What a run was made with wrongly is put right once, whatever is done but handing over."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import pytest

from diagnose.decision.lookahead import Act, Decision, Valued
from diagnose.planner.decide import _put_right_once
from diagnose.planner.problem import TroubleshootingProblem, putting_right_minutes
from tests.diagnosis.situations import RESPONSE, STEADY, ranked

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


@pytest.mark.parametrize(
    ("unsaid", "minutes"), [("engine", 2), ("moving", 3), ("supply", 5), ("bleed-hose", 6)]
)
def test_what_nobody_said_is_put_right_as_often_as_it_was_wrong(unsaid: str, minutes: int) -> None:
    said = [word for word in (*STEADY, *RESPONSE) if word.partition("=")[0] != unsaid]
    found = ranked("mounted-6", "response=FFFFFF", *said)
    wrong = sum(c.probability for c in found.causes if c.id == f"circumstances/{unsaid}@1")
    assert 0 < wrong < 1
    assert putting_right_minutes(found, "response") == pytest.approx(minutes * wrong)
