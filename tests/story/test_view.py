"""What a case comes to is there also when it cannot be ranked."""

from __future__ import annotations

import pytest

from diagnose.knowledge.base import load_knowledge
from diagnose.story.event import Checked, Opened, told
from diagnose.story.replay import replay
from diagnose.story.view import View


@pytest.mark.slow
def test_a_case_of_more_failing_runs_than_can_be_worked_out_has_no_causes() -> None:
    opened = told(Opened(case="20260301-a", machine="mounted-6"), "A")
    runs = [told(Checked(check="response", pattern="FFFFFF"), "A") for _ in range(40)]
    assert View(replay([opened, *runs]), load_knowledge()).causes == ()
