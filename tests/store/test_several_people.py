"""Several people, each a process of their own, tell one case at the same time."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.observations.entries import Opened, new_event
from diagnose.store.casebook import open_casebook
from tests.session.crew import CASE, Log, counted_once
from tests.session.member import together


@pytest.mark.slow
@pytest.mark.parametrize(("people", "each"), [(2, 16), (8, 4)])
def test_each_answer_is_there_once_with_its_question_and_in_its_epoch(
    url: str, tmp_path: Path, people: int, each: int
) -> None:
    log = tmp_path / "log"
    with open_casebook(url) as casebook:
        casebook.begin(new_event(Opened(case=CASE, machine="mounted-6"), "Ann"))
    assert together(url, log, people, each) == []
    with open_casebook(url) as casebook:
        events = casebook.events(CASE)
    answers = [event for event in events if event.id in Log(log).told()]
    assert sorted(event.id for event in answers) == sorted(Log(log).told())
    assert len(answers) == people * each
    ids = [event.id for event in events]
    for event in answers:
        assert event.question is not None
        assert event.seen in ids[: ids.index(event.id)]
    assert any(event.before or event.same_as for event in answers)
    counted_once(events, Log(log))
