"""Undo and redo as corrections, so that nothing that was told is lost."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.observations.entries import Correction, Event, Opened
from diagnose.observations.state import counted


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
