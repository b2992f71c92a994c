"""What a case comes to is there also when it cannot be ranked."""

from __future__ import annotations

import pytest

from diagnose import projection
from diagnose.errors import ImpossibleEvidence
from diagnose.knowledge.base import load_knowledge
from diagnose.observations.entries import Opened, new_event
from diagnose.observations.events import Run
from diagnose.observations.state import replay


def test_a_case_whose_results_cannot_stand_together_has_no_causes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def impossible(*_: object) -> None:
        raise ImpossibleEvidence(["response@6#1"])

    monkeypatch.setattr(projection, "rank", impossible)
    opened = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    run = new_event(Run.of("response", "FFFFFF"), "A")
    seen = projection.Projection(replay([opened, run]), load_knowledge())
    assert seen.causes == ()
