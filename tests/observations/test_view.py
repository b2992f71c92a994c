"""What a case comes to is there also when it cannot be ranked."""

from __future__ import annotations

import pytest

from diagnose.knowledge.base import load_knowledge
from diagnose.observations.entries import Opened, new_event
from diagnose.observations.events import Run
from diagnose.observations.state import replay
from diagnose.projection import Projection


@pytest.mark.slow
def test_a_case_of_more_failing_runs_than_can_be_worked_out_has_no_causes() -> None:
    opened = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    runs = [new_event(Run.of("response", "FFFFFF"), "A") for _ in range(40)]
    assert Projection(replay([opened, *runs]), load_knowledge()).causes == ()
