"""What lists show of a case, what can be asked of them, and the words that searches find."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any, Literal

from diagnose.cases.case import Result
from diagnose.story.event import Skipped
from diagnose.story.replay import State

Outcome = Literal["open", "proven", "handed-over", "given-up"]

MOST_WORDS = 8000
LONGEST_WORD = 32
"""The index keeps so many different words of a case, each up to so many letters.

PostgreSQL takes a megabyte at most for one case; four bytes is the longest letter.
"""

WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True)
class Entry:
    """A case in a list.

    Parameters
    ----------
    opened, last: when it was opened, and when something was told last (UTC).
    causes: ids as the conclusion gives them.
    rows_failed: rows that failed any run that counts.
    minutes: from the opening to what was told last.
    """

    case: str
    machine: str
    title: str
    opened: datetime
    last: datetime
    outcome: Outcome
    causes: tuple[str, ...]
    rows_failed: tuple[int, ...]
    minutes: float


@dataclass(frozen=True)
class Wanted:
    """Which cases a list shows; what is None says nothing.

    Parameters
    ----------
    open: True for those that go on, False for those that are closed.
    machine: its id.
    cause: a cause's id or a part of one, such as ``coil_open``.
    since: something was told on or after this day (UTC).
    text: words that must all be in it, each perhaps longer there; numbers as they stand.
    limit: so many at most.
    """

    open: bool | None = None
    machine: str | None = None
    cause: str | None = None
    since: date | None = None
    text: str | None = None
    limit: int | None = None


def entry_of(state: State) -> Entry:
    """What a list shows of a case in this state.

    >>> from diagnose.story.event import Checked, Opened, told
    >>> from diagnose.story.replay import replay
    >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> entry = entry_of(replay([first, told(Checked(check="response", pattern="PPPPPF"), "A")]))
    >>> entry.outcome, entry.rows_failed
    ('open', (6,))
    """
    ended = state.conclusion
    return Entry(
        state.id,
        state.case.machine,
        state.title,
        state.started.astimezone(UTC),
        state.last.astimezone(UTC),
        ended.outcome if ended else "open",
        ended.causes if ended else (),
        rows_failed(state),
        state.elapsed_minutes,
    )


def rows_failed(state: State) -> tuple[int, ...]:
    """The rows that failed any run that counts."""
    return tuple(
        sorted(
            {
                row
                for run in state.case.runs
                for row, result in enumerate(run.results, start=1)
                if result is Result.FAIL
            }
        )
    )


def row_of(entry: Entry) -> dict[str, object]:
    """The entry as the database keeps it."""
    return {
        "case": entry.case,
        "machine": kept(entry.machine),
        "title": kept(entry.title),
        "opened": time_text(entry.opened),
        "last": time_text(entry.last),
        "outcome": entry.outcome,
        "causes": json.dumps(entry.causes),
        "rows_failed": json.dumps(entry.rows_failed),
        "minutes": entry.minutes,
    }


def entry_in(row: Mapping[str, Any]) -> Entry:
    """The entry that a row of the database holds.

    >>> now = datetime(2026, 3, 1, tzinfo=UTC)
    >>> entry = Entry("20260301-a", "mounted-6", "", now, now, "open", (), (6,), 0.0)
    >>> entry_in(row_of(entry)) == entry
    True
    """
    return Entry(
        row["case"],
        row["machine"],
        row["title"],
        datetime.fromisoformat(row["opened"]),
        datetime.fromisoformat(row["last"]),
        row["outcome"],
        tuple(json.loads(row["causes"])),
        tuple(json.loads(row["rows_failed"])),
        row["minutes"],
    )


def time_text(at: datetime) -> str:
    """A time as text that sorts.

    >>> time_text(datetime(2026, 3, 1, 8, tzinfo=UTC))
    '2026-03-01T08:00:00.000000+00:00'
    """
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def kept(text: str) -> str:
    r"""The text without the one letter that PostgreSQL cannot keep.

    >>> kept("a\0b") == "a\N{REPLACEMENT CHARACTER}b"
    True
    """
    return text.replace("\0", "\N{REPLACEMENT CHARACTER}")


def words_of(state: State) -> list[str]:
    """The words by which the case is found: machine, title, notes, people, causes, reasons."""
    found: dict[str, None] = {}
    for text in _texts(state):
        found.update(dict.fromkeys(words_in(text)))
    return list(found)[:MOST_WORDS]


def _texts(state: State) -> Iterator[str]:
    yield from (state.id, state.case.machine, state.title)
    if state.conclusion:
        yield from (*state.conclusion.causes, state.conclusion.says or "")
    yield from dict.fromkeys(each.event.who for each in state.told)
    yield from state.notes
    skips = (each.counts for each in state.told if isinstance(each.counts, Skipped))
    yield from (f"{skip.act} {skip.reason or ''}" for skip in skips)


def words_in(text: str) -> list[str]:
    """The words of a text as the index keeps them: small letters, without accents.

    Both databases get them made, so that the same words are found on both.

    >>> words_in("Row-6: coil_open, Größe")
    ['row', '6', 'coil', 'open', 'grosse']
    """
    apart = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(letter for letter in apart if not unicodedata.combining(letter))
    return [word[:LONGEST_WORD] for word in WORD.findall(plain)]
