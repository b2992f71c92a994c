"""Stored events read back, each held against its hash, its columns and its form."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

from pydantic import ValidationError

from diagnose.errors import Damaged, Place, Problem, quoted
from diagnose.formats.value_problem import Wrong
from diagnose.observations.encoding import FIRST, decode, link
from diagnose.observations.entries import Event, Opened
from diagnose.observations.formats import FORMAT, convert
from diagnose.record import record
from diagnose.store.rows import TableRow, when

REMEDY = (
    "nothing was changed; write what is whole with rowfault cases export, and take the rest from "
    "your last copy"
)

_SHOWN = 12
"""So many signs of a hash are shown: enough to tell it from any other of a case."""

UNREADABLE = (
    *(ValueError, TypeError, KeyError, AttributeError),
    *(OverflowError, RecursionError),
)
"""What may come of text that is no event."""


@record
class Kept:
    """An event of a case, with its hash."""

    event: Event
    sha256: str


def read_back(
    case: str, rows: Sequence[TableRow], known: Sequence[Kept], noted: TableRow | None
) -> list[Kept]:
    """The events of a case, of which those that are ``known`` were read before.

    ``noted`` is the case's row in the list: how many events it has, and the hash of the last. It
    is None where the list has lost the case.

    Raises `Damaged`, which names the first entry that is not what was stored.

    >>> from diagnose.store.rows import event_row
    >>> from diagnose.observations.entries import new_event
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> row = event_row("a", 1, opening, FIRST)
    >>> noted = {"length": 1, "head": row["sha256"]}
    >>> [kept.event.who for kept in read_back("20260301-a", [row], [], noted)]
    ['A']
    >>> read_back("20260301-a", [{**row, "who": "B"}], [], noted)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    diagnose.errors.Damaged: case 20260301-a, entry 1: expected what was stored, got ...
    """
    kept = list(known)
    for place, row in enumerate(rows, len(kept)):
        try:
            if row["number"] != len(kept) + 1:
                raise Wrong(f"entry {len(kept) + 1}", f"entry {quoted(row['number'])}")
            kept.append(_kept(case, row, kept[-1].sha256 if kept else FIRST))
        except Wrong as wrong:
            rest = [event for later in rows[place - len(known) :] for event in _alone(later)]
            raise _damaged(case, len(kept) + 1, wrong, kept, rest) from None
    if noted is None:
        return kept
    length, head = noted["length"], noted["head"]
    if length != len(kept) or head != (kept[-1].sha256 if kept else FIRST):
        number = len(kept) + (1 if length != len(kept) else 0)
        lacking = Wrong(f"the last of {quoted(length)} entries", "another end of the case")
        raise _damaged(case, number, lacking, kept, [])
    return kept


def _damaged(
    case: str, number: int, wrong: Wrong, kept: Sequence[Kept], rest: Sequence[Event]
) -> Damaged:
    place = Place(f"case {case}, entry {number}")
    problem = Problem(place, wrong.expected, wrong.got, wrong.remedy or REMEDY)
    return Damaged(problem, [each.event for each in kept], rest)


def _kept(case: str, row: TableRow, previous: str) -> Kept:
    """A row's event, if the row follows the one whose hash is given, and is what was stored."""
    event = _event(row)
    if row["previous"] != previous:
        got = f"one that follows {shortly(row['previous'])}"
        raise Wrong(f"the entry that follows {shortly(previous)}", got)
    if isinstance(event.what, Opened) != (row["number"] == 1):
        raise Wrong(got=event.what.kind, expected="the opening first, and nowhere else")
    if isinstance(event.what, Opened) and event.what.case != case:
        raise Wrong(f"the opening of case {case}", quoted(event.what.case))
    return Kept(event, str(row["sha256"]))


def _alone(row: TableRow) -> Iterator[Event]:
    """The event of a row that is whole by itself."""
    try:
        yield _event(row)
    except Wrong:
        return


def _event(row: TableRow) -> Event:
    form, body = row["format"], row["body"]
    if not isinstance(form, int) or not isinstance(body, str):
        raise Wrong(got=f"form {quoted(form)} and text {quoted(body)}", expected="what was stored")
    if form > FORMAT:
        remedy = "it is from a newer rowfault: install that"
        raise Wrong(f"an entry of form {FORMAT} or older", f"form {form}", remedy)
    made = link(str(row["previous"]), form, body)
    if row["sha256"] != made:
        got = f"another text (its SHA-256 is {shortly(made)}, not {shortly(row['sha256'])})"
        raise Wrong(got=got, expected="what was stored")
    try:
        data = json.loads(body)
        event = decode(json.dumps(convert(data, form)))
        columns = {"id": event.id, "at": when(event.at), "who": event.who}
        columns["kind"] = data["what"]["kind"]
    except (
        ValueError,
        TypeError,
        KeyError,
        OverflowError,
        AttributeError,
        RecursionError,
    ) as error:
        raise Wrong(got=_reason(error), expected="an event") from None
    for name, value in columns.items():
        if row[name] != value:
            raise Wrong(got=f"{name} {quoted(row[name])}", expected="what was stored")
    return event


def _reason(error: Exception) -> str:
    """Which field of an event is wrong."""
    if isinstance(error, ValidationError):
        first = error.errors(include_url=False)[0]
        where = ".".join(map(str, first["loc"])) or "all of it"
        return f"{where}: {first['msg'].lower()}"
    return f"text that is none ({type(error).__name__})"


def shortly(sha256: object) -> str:
    """The beginning of what stands where a hash should.

    >>> shortly("5e1c09b2f4a7d3"), shortly(None)
    ("'5e1c09b2f4a7'", 'None')
    """
    return quoted(sha256[:_SHOWN] if isinstance(sha256, str) else sha256)
