"""From the events of a case to its state: one pure function, right for every prefix of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from datetime import datetime

from diagnose.errors import InputError, Place, Problem
from diagnose.observations.case import Case
from diagnose.observations.entries import (
    Answered,
    AtHand,
    Concluded,
    Correction,
    Event,
    HandedOver,
    Noted,
    Opened,
    Reopened,
    Skipped,
    Statement,
)
from diagnose.observations.events import (
    Circumstances,
    History,
    Reading,
    Remedied,
    Run,
    Swapped,
)
from diagnose.observations.order import Placed, in_order_done
from diagnose.record import record


@record
class Counted(Placed):
    """An event, and what of it counts: itself, what took its place, or nothing.

    ``corrected_by`` is the event that took its place, if one did; ``same_as`` the one that counts
    because it tells of the very same thing.
    """

    event: Event
    counts: Opened | Statement | Correction | None
    corrected_by: str = ""
    same_as: str = ""


@record
class Handover:
    """Who handed the case to whom, why and when; an old casebook does not say to whom."""

    by: str
    to: str
    why: str
    at: datetime


@record
class CaseState:
    """Where a case stands after its events.

    Two states are equal when the same facts count, however many corrections led to them.

    Parameters
    ----------
    case: what was observed and done, as `diagnose.ranking` takes it.
    run_events: the event of each run of the case, in order.
    circumstances: those that hold for the next run: of the last one, and what was told since.
    without, alone: what is not at hand.
    skipped: acts that cannot be done here.
    notes: words, in order.
    conclusion: how it ended; None while it is open.
    owner: who has the case: who opened it, until it is handed over; empty where nobody is named.
    handover: the last time that it was handed over.
    told: every event with what counts of it, in the order of telling.
    """

    id: str
    title: str
    layout: str
    case: Case
    run_events: tuple[str, ...] = ()
    circumstances: Mapping[str, float | str] = field(default_factory=dict)
    without: frozenset[str] = frozenset()
    alone: bool = False
    skipped: frozenset[str] = frozenset()
    notes: tuple[str, ...] = ()
    conclusion: Concluded | None = None
    owner: str = ""
    handover: Handover | None = None
    told: tuple[Counted, ...] = field(default=(), compare=False)

    @property
    def started(self) -> datetime:
        """When the case was opened.

        >>> from datetime import UTC
        >>> from diagnose.observations.entries import new_event
        >>> opening = Opened(case="20260301-a", machine="mounted-6")
        >>> replay([new_event(opening, "A", datetime(2026, 3, 1, 8, tzinfo=UTC))]).started.hour
        8
        """
        return self.told[0].event.at

    @property
    def last(self) -> datetime:
        """When something was told last.

        >>> from datetime import UTC
        >>> from diagnose.observations.entries import new_event
        >>> begun, later = (datetime(2026, 3, 1, hour, tzinfo=UTC) for hour in (8, 9))
        >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A", begun)
        >>> notes = [new_event(Noted("hose chafed"), "A", at) for at in (later, begun)]
        >>> replay([first, *notes]).last.hour  # the latest, not the last in the list
        9
        """
        return max(each.event.at for each in self.told)

    @property
    def elapsed_minutes(self) -> float:
        """Minutes from the opening to what was told last.

        >>> from datetime import UTC
        >>> from diagnose.observations.entries import new_event
        >>> begun, later = (datetime(2026, 3, 1, *at, tzinfo=UTC) for at in ((8, 0), (9, 30)))
        >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A", begun)
        >>> replay([first, new_event(Noted("hose chafed"), "A", later)]).elapsed_minutes
        90.0
        """
        return (self.last - self.started).total_seconds() / 60

    @property
    def done(self) -> tuple[Counted, ...]:
        """Every event with what counts of it, in the order in which it was done.

        >>> from diagnose.observations.entries import new_event
        >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> work = new_event(Remedied("replace-coil", "row-6/valve"), "A")
        >>> run = new_event(Run.of("bleed", "PPPPPF"), "B")
        >>> run = replace(run, before=(work.id,))
        >>> [each.event.what.kind for each in replay([first, work, run]).done]
        ['opened', 'run', 'remedy']
        """
        return tuple(in_order_done(self.told))

    @property
    def open(self) -> bool:
        """Whether the case goes on.

        >>> from diagnose.observations.entries import new_event
        >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> ended = new_event(Concluded(outcome="given-up"), "A")
        >>> replay([first]).open, replay([first, ended]).open
        (True, False)
        """
        return self.conclusion is None


def replay(events: Sequence[Event]) -> CaseState:
    """The state after some events, of which the first opens the case.

    Raises `InputError` when there is no opening.

    >>> from datetime import UTC
    >>> from diagnose.observations.entries import new_event
    >>> now = datetime(2026, 3, 1, tzinfo=UTC)
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A", now)
    >>> run = new_event(Run.of("response", "PPPPPF"), "A", now)
    >>> replay([first, run]).case.runs[0].pattern
    'PPPPPF'
    >>> replay([first, run, new_event(Correction(event=run.id), "A", now)]).case.runs
    ()
    """
    opening = events[0].what if events else None
    if not isinstance(opening, Opened):
        got = opening.kind if opening else "nothing"
        raise InputError(Problem(Place("event 1"), "the opening of a case", got))
    story = counted(events)
    state = CaseState(
        opening.case,
        opening.title or "",
        opening.layout or "",
        Case(opening.machine),
        owner=events[0].who,
    )
    for each in in_order_done(story):
        if each.counts is not None:
            state = _with(state, each.event, each.counts)
    return replace(state, told=story)


def counted(events: Sequence[Event]) -> tuple[Counted, ...]:
    """Every event with what counts of it. The last correction that itself counts decides.

    A correction of the opening, of something told later, or of what is not there counts for
    nothing. Of events that tell of the same thing the first that is not taken back counts; of
    corrections that do, the first.

    >>> from diagnose.observations.entries import new_event
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> run = new_event(Run.of("bleed", "PPPPPF"), "A")
    >>> right = Run.of("bleed", "PPPPFP")
    >>> story = counted([first, run, new_event(Correction(event=run.id, instead=right), "A")])
    >>> story[1].counts.pattern, story[1].corrected_by == story[2].event.id
    ('PPPPFP', True)
    """
    roots = _roots(events)
    decided = _decided(events, roots)
    counting: set[str] = set()
    story = []
    for event in events:
        told, root = _told(event, decided.get(event.id)), roots[event.id]
        repeats = root in counting or (root != event.id and isinstance(event.what, Correction))
        if repeats and told.counts is not None:
            told = Counted(event, None, same_as=root)
        elif told.counts is not None:
            counting.add(root)
        story.append(told)
    return tuple(story)


def _roots(events: Sequence[Event]) -> dict[str, str]:
    """By event, the first one that told of the same thing: mostly itself."""
    kinds: dict[str, str] = {}
    roots: dict[str, str] = {}
    for event in events:
        kind = event.what.kind
        other = event.same_as or ""
        same = kinds.get(other) == kind and kind != "opened"
        roots.setdefault(event.id, roots[other] if same else event.id)
        kinds.setdefault(event.id, kind)
    return roots


def _decided(events: Sequence[Event], roots: Mapping[str, str]) -> dict[str, Event]:
    """By event, the correction that decides what of it counts."""
    place = {event.id: number for number, event in enumerate(events)}
    decided: dict[str, Event] = {}
    for number in reversed(range(len(events))):
        event = events[number]
        first = roots[event.id] == event.id
        if isinstance(event.what, Correction) and first and event.id not in decided:
            target = place.get(event.what.event, -1)
            if 0 < target < number:
                decided.setdefault(event.what.event, event)
    return decided


def _told(event: Event, by: Event | None) -> Counted:
    if by is None:
        return Counted(event, event.what)
    assert isinstance(by.what, Correction)
    instead = None if isinstance(event.what, Correction) else by.what.instead
    return Counted(event, instead, by.id)


def _with(state: CaseState, event: Event, what: Opened | Statement | Correction) -> CaseState:
    """The state with one more thing that counts."""
    if isinstance(what, Run | Reading | Remedied | Swapped | History):
        then = replace(state, case=state.case.then(what))
        if not isinstance(what, Run):
            return then
        held = {**state.circumstances, **what.circumstances}
        return replace(then, run_events=(*state.run_events, event.id), circumstances=held)
    if isinstance(what, Answered):
        return _answered(state, what)
    if isinstance(what, Circumstances):
        return _held(state, what)
    if isinstance(what, Concluded | HandedOver | Reopened):
        return _passed_on(state, event, what)
    return _noted(state, what)


def _held(state: CaseState, what: Circumstances) -> CaseState:
    """The state with more known of the runs that follow."""
    now = {**state.circumstances, **what.values}
    known = {name: value for name, value in now.items() if value is not None}
    return replace(state, circumstances=known)


def _passed_on(
    state: CaseState, event: Event, what: Concluded | HandedOver | Reopened
) -> CaseState:
    """The state after the case was closed, opened again, or given to somebody.

    An old casebook closed a case that was handed over; it goes on, and nobody is named.
    """
    if isinstance(what, HandedOver):
        handover = Handover(event.who, what.to, what.why, event.at)
        return replace(state, owner=what.to, handover=handover)
    if isinstance(what, Reopened):
        return replace(state, conclusion=None, owner=event.who)
    if what.outcome == "handed-over":
        handover = Handover(event.who, "", what.says or "", event.at)
        return replace(state, owner="", handover=handover)
    return replace(state, conclusion=what)


def _noted(state: CaseState, what: Opened | Statement | Correction) -> CaseState:
    """The state after what moves no probability."""
    match what:
        case Noted():
            return replace(state, notes=(*state.notes, what.text))
        case Skipped():
            return replace(state, skipped=state.skipped | {what.act})
        case AtHand():
            return replace(state, without=frozenset(what.without), alone=what.alone)
        case _:
            return state


def _answered(state: CaseState, what: Answered) -> CaseState:
    """The state in which an earlier run has one more circumstance known."""
    runs = tuple(
        replace(run, circumstances={**run.circumstances, what.circumstance: what.value})
        if event == what.run
        else run
        for run, event in zip(state.case.runs, state.run_events, strict=True)
    )
    return replace(state, case=replace(state.case, runs=runs))
