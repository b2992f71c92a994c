"""What is refused of a closed or overtaken case, and taking back what was told last."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.errors import CaseClosed, InputError, Overtaken, Place, Problem
from diagnose.observations.entries import Concluded, Correction, Event, Noted, Opened, Reopened
from diagnose.observations.state import CaseState, counted, replay


def check_appendable(
    case: str, known: Sequence[Event], told: Sequence[Event], seen: str | None
) -> None:
    """Refuse what a case does not take. Whoever keeps events asks this while nobody else can add.

    ``known`` is what the case has; ``seen`` the last event that the giver of the answer knows of,
    None for what cannot be overtaken. What the case has already is not refused.

    Raises `CaseClosed`, `Overtaken`, or `InputError` for reopening a case that is open.

    >>> from diagnose.observations.entries import new_event
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "Ann")
    >>> ann, ben = (new_event(Noted("hose chafed"), who) for who in ("Ann", "Ben"))
    >>> check_appendable("20260301-a", [opening], [ann], seen=opening.id)
    >>> check_appendable("20260301-a", [opening, ann], [ben], seen=opening.id)
    Traceback (most recent call last):
    diagnose.errors.Overtaken: case 20260301-a: expected that nobody else told anything meanwhile, \
got 1 thing from Ann; no answer was kept after that: see rowfault cases show 20260301-a, then \
go on with rowfault work --case 20260301-a
    """
    here = {event.id for event in known}
    fresh = [event for event in told if event.id not in here]
    if not fresh or not known:
        return
    _refuse_closed(replay(known), fresh)
    between = after(known, seen) if seen is not None else ()
    if between:
        raise Overtaken(case, between)


def after(events: Sequence[Event], seen: str) -> tuple[Event, ...]:
    """The events that were added after one of them; all of them, when that is not there."""
    place = next((n for n, event in enumerate(events, 1) if event.id == seen), 0)
    return tuple(events[place:])


def _refuse_closed(state: CaseState, fresh: Sequence[Event]) -> None:
    """Refuse what comes while the case is closed, and reopening while it is open."""
    where, open_ = Place(f"case {state.id}"), state.open
    for event in fresh:
        what = event.what
        if isinstance(what, Reopened) and open_:
            remedy = f"go on with rowfault work --case {state.id}"
            raise InputError(Problem(where, "a closed case", "one that is open", remedy))
        if not open_ and not isinstance(what, Noted | Reopened | Opened):
            remedy = f"reopen it with: rowfault cases reopen {state.id} --reason WHY"
            got = f"an answer to a case that is closed{_ended(state)}"
            raise CaseClosed(Problem(where, "nothing but a note", got, remedy))
        open_ = isinstance(what, Reopened) or (open_ and not isinstance(what, Concluded))


def _ended(state: CaseState) -> str:
    """Who closed the case, and when."""
    for each in reversed(state.told):
        if each.counts is not None and each.counts == state.conclusion:
            return f": {each.event.who} closed it, {each.event.at.astimezone():%Y-%m-%d %H:%M}"
    return ""


def undo(events: Sequence[Event]) -> Correction | None:
    """The correction that takes back the last thing that counts; None when nothing is left.

    A correction of something else is such a thing too; what `undo` and `redo` said is not.

    >>> from diagnose.observations.entries import Noted, new_event
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> note = new_event(Noted("hose chafed"), "A")
    >>> undo([first, note]).event == note.id, undo([first]) is None
    (True, True)
    """
    for each in reversed(counted(events)):
        what = each.event.what
        gone = each.counts is None and not each.same_as
        if gone or isinstance(what, Opened) or _step(each.event):
            continue
        return Correction(event=each.event.id, step="undo")
    return None


def redo(events: Sequence[Event]) -> Correction | None:
    """The correction that takes back the last `undo`; None when something was told since.

    >>> from diagnose.observations.entries import Noted, new_event
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> note = new_event(Noted("hose chafed"), "A")
    >>> back = new_event(undo([first, note]), "A")
    >>> redo([first, note, back]).event == back.id, redo([first, note]) is None
    (True, True)
    """
    for each in reversed(counted(events)):
        if not _step(each.event):
            return None
        if each.counts is not None and _step(each.event) == "undo":
            return Correction(event=each.event.id, step="redo")
    return None


def _step(event: Event) -> str | None:
    return event.what.step if isinstance(event.what, Correction) else None
