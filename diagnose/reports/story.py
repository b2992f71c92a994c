"""What was told of a case, as it is kept, in the form ``rowfault/case/3``."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.observations.archive import chained
from diagnose.observations.entries import Event
from diagnose.reports.forms.story import KeptEvent, StoryReport


def build_story_report(events: Sequence[Event]) -> StoryReport:
    """The events of a case as a report.

    >>> from diagnose.observations.entries import Opened, new_event
    >>> opened = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> report = build_story_report([opened])
    >>> report.entries, report.head == report.events[-1].sha256, list(report.plain()["events"][0])
    (1, True, ['id', 'at', 'who', 'what', 'sha256'])
    """
    kept = tuple(_kept(event, sha256) for event, _, sha256 in chained(events))
    return StoryReport(entries=len(kept), head=kept[-1].sha256 if kept else "", events=kept)


def _kept(event: Event, sha256: str) -> KeptEvent:
    return KeptEvent(
        id=event.id,
        at=event.at,
        who=event.who,
        what=event.what,
        question=event.question,
        seen=event.seen,
        before=event.before,
        same_as=event.same_as,
        sha256=sha256,
    )
