"""What is offered last: what neither earns back its minutes nor tells anything."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

from diagnose.planner.candidates import Candidate
from diagnose.planner.decide import Offer, _worthwhile_first
from diagnose.planner.problem import TroubleshootingProblem

NOTHING_TO_TEST = cast(TroubleshootingProblem, SimpleNamespace(tests=()))


def offer(id: str, minutes: float, value: float) -> Offer:
    return Offer(Candidate(id, "remedy", "", (6,), minutes, ()), minutes, value)


def test_a_remedy_that_earns_nothing_back_stands_last() -> None:
    """Of its 20 minutes all are lost against the best, of 10 half: the second earns something."""
    best, lost, some = offer("a", 5, 60), offer("b", 20, 80), offer("c", 10, 85 - 20)
    assert _worthwhile_first(NOTHING_TO_TEST, (best, lost, some)) == (best, some, lost)
