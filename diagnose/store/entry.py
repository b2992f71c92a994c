"""One case as a list shows it, and what is asked of a list."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, datetime

from diagnose.observations.entries import people_in
from diagnose.observations.result import Result
from diagnose.observations.state import CaseState
from diagnose.record import record

STILL_OPEN = "open"

LONGEST_SAID = 500_000
"""Letters of a case that can be searched; PostgreSQL indexes no more than a megabyte."""


@record
class Entry:
    """One case in a list.

    Parameters
    ----------
    opened, last: when it was opened, and when something was told last (UTC).
    outcome: ``open``, ``proven`` or ``given-up``.
    causes: what the conclusion names.
    rows_failed: rows that failed in any run that counts.
    minutes: from the opening to what was told last.
    owner: who has the case; empty where that is not known.
    """

    case: str
    machine: str
    title: str
    opened: datetime
    last: datetime
    outcome: str
    causes: tuple[str, ...]
    rows_failed: tuple[int, ...]
    minutes: float
    owner: str = ""


@record
class Wanted:
    """Which cases to list, the latest first; what is None does not matter.

    Parameters
    ----------
    open: only open ones, or only closed ones.
    cause: a cause's id, or a part of it (``coil_open``).
    since: opened on that day (UTC) or later.
    text: words that are all in the case's title, notes, people, causes, work or machine.
    limit: at most so many.
    """

    open: bool | None = None
    machine: str | None = None
    cause: str | None = None
    since: date | None = None
    text: str | None = None
    limit: int | None = None


def entry_of(state: CaseState) -> Entry:
    """A state as a list shows it.

    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6", title="spring"), "A")
    >>> entry = entry_of(replay([opening]))
    >>> entry.title, entry.outcome, entry.minutes
    ('spring', 'open', 0.0)
    """
    ended = state.conclusion
    failed = {row for run in state.case.runs for row in run.rows_with(Result.FAIL)}
    return Entry(
        state.id,
        state.case.machine,
        state.title,
        state.started,
        state.last,
        ended.outcome if ended else STILL_OPEN,
        ended.causes if ended else (),
        tuple(sorted(failed)),
        state.elapsed_minutes,
        state.owner,
    )


def words_of(state: CaseState) -> str:
    """Every word in a case that is found by searching, once, in small letters.

    >>> from diagnose.observations.entries import Noted, Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A. Helper")
    >>> note = new_event(Noted("Hose chafed at row-6/valve"), "A. Helper")
    >>> words_of(replay([opening, note]))
    '20260301 a mounted 6 helper hose chafed at row valve'
    """
    words = dict.fromkeys(word for text in _texts(state) for word in words_in(text))
    return " ".join(words)[:LONGEST_SAID]


def words_in(text: str) -> list[str]:
    """The words of a text, in small letters.

    >>> words_in("row-6/valve:coil_open")
    ['row', '6', 'valve', 'coil', 'open']
    """
    return re.findall(r"[^\W_]+", text.casefold())


def _texts(state: CaseState) -> Iterator[str]:
    yield from (state.id, state.case.machine)
    if state.title:
        yield state.title
    yield from people_in([each.event for each in state.told])
    yield state.owner
    yield from state.notes
    yield from (work.id for work in state.case.work)
    if state.conclusion:
        yield from state.conclusion.causes
        yield state.conclusion.says or state.conclusion.outcome
