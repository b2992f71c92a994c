"""What was told of a case as a report: its timeline, and its entries as they are kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from diagnose.knowledge.base import Knowledge
from diagnose.machine.planter import Machine
from diagnose.observations.archive import chained
from diagnose.observations.entries import Correction, Event
from diagnose.observations.state import CaseState, Counted
from diagnose.observations.text import in_words
from diagnose.reports.forms.case import CorrectedReport, KeptEvent, StoryReport, TimelineEntry


def timeline_of(
    state: CaseState, machine: Machine, knowledge: Knowledge
) -> tuple[TimelineEntry, ...]:
    """Every event with what of it counts, and who put it right.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.observations.entries import Correction, Opened, new_event
    >>> from diagnose.observations.events import Run
    >>> from diagnose.observations.state import replay
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> run = new_event(Run.of("response", "PPPPPF"), "A")
    >>> state = replay([first, run, new_event(Correction(event=run.id), "A")])
    >>> for entry in timeline_of(state, load_machine("mounted-6"), load_knowledge()):
    ...     print(entry.number, entry.says, entry.counts)
    1 opened for mounted-6 True
    2 response check: row 6 failed, 5 of 6 passed False
    3 entry 2 does not count True
    """
    number = {each.event.id: n for n, each in enumerate(state.told, start=1)}
    by_id = {each.event.id: each for each in state.told}

    def entry(told: Counted) -> TimelineEntry:
        event, by = told.event, by_id.get(told.corrected_by)
        return TimelineEntry(
            number=number[event.id],
            id=event.id,
            at=iso(event.at),
            who=event.who,
            kind=event.what.kind,
            says=_says(told, number, machine, knowledge) + _place(told, number),
            question=event.question,
            counts=told.counts == event.what,
            corrected=_corrected(told, by.event, number, machine, knowledge) if by else None,
        )

    return tuple(map(entry, state.told))


def iso(moment: datetime) -> str:
    """A point in time to the second.

    >>> from datetime import UTC
    >>> iso(datetime(2026, 3, 14, 7, 30, tzinfo=UTC))
    '2026-03-14T07:30:00+00:00'
    """
    return moment.isoformat(timespec="seconds")


def _place(told: Counted, number: Mapping[str, int]) -> str:
    """Its place among what others told: the same thing, or done before that."""
    if told.same_as:
        return f" (the same as entry {number[told.same_as]}, counted once)"
    before = [number[id] for id in told.event.before if id in number]
    entries = "entry" if len(before) == 1 else "entries"
    return f" (done before {entries} {', '.join(map(str, before))})" if before else ""


def _says(told: Counted, number: Mapping[str, int], machine: Machine, knowledge: Knowledge) -> str:
    what = told.event.what
    if not isinstance(what, Correction):
        return in_words(what, machine, knowledge)
    entry = f"entry {number.get(what.event, '?')}"
    because = f" ({what.reason})" if what.reason else ""
    if what.step == "redo":
        return f"redo: the undo in {entry} is taken back{because}"
    if what.instead is None:
        return f"{'undo: ' if what.step else ''}{entry} does not count{because}"
    return f"{entry} put right: {in_words(what.instead, machine, knowledge)}{because}"


def _corrected(
    told: Counted, by: Event, number: Mapping[str, int], machine: Machine, knowledge: Knowledge
) -> CorrectedReport:
    instead = told.counts
    if instead is None or isinstance(instead, Correction):
        says = None
    else:
        says = in_words(instead, machine, knowledge)
    assert isinstance(by.what, Correction)
    return CorrectedReport(
        by=number[by.id], who=by.who, at=iso(by.at), instead=says, reason=by.what.reason
    )


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
