"""Tables of the database, and rows sealed by a hash."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
)

from diagnose.observations.encoding import canonical, decode, encode, link
from diagnose.observations.entries import Event
from diagnose.observations.formats import FORMAT
from diagnose.store.entry import Entry

TableRow = Mapping[str, object]

SEALED_OF_CASES = (
    *("case", "machine", "title", "opened", "last", "outcome", "causes", "rows_failed"),
    *("minutes", "owner", "length", "head", "said"),
)
SEALED_OF_DRILLS = (
    *("id", "at", "who", "code", "machine", "level", "marks", "minutes", "right"),
    "opportunities",
)
_json = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), default=repr).encode

SEALED_OF_PLAYERS = ("who", "drills")


def event_row(case: str, number: int, event: Event, previous: str) -> dict[str, object]:
    """An event as a row, chained to the one whose hash is ``previous``.

    Raises pydantic's `ValidationError` for an event that could not be read back.

    >>> from diagnose.observations.entries import Noted, new_event
    >>> row = event_row("20260301-a", 2, new_event(Noted("hose chafed"), "A"), "")
    >>> row["number"], row["kind"], len(row["sha256"])
    (2, 'note', 64)
    """
    body = canonical(encode(event))
    decode(body)
    return {
        "case": case,
        "number": number,
        "id": event.id,
        "at": when(event.at),
        "who": event.who,
        "kind": event.what.kind,
        "body": body,
        "format": FORMAT,
        "previous": previous,
        "sha256": link(previous, FORMAT, body),
    }


def case_row(entry: Entry, length: int = 0, head: str = "", said: str = "") -> dict[str, object]:
    """A case as a row of the list; ``said`` is the text of its words.

    >>> at = datetime(2026, 3, 1, tzinfo=UTC)
    >>> row = case_row(Entry("20260301-a", "mounted-6", "", at, at, "open", (), (6,), 0.0))
    >>> row["opened"], row["rows_failed"], is_sealed(row, SEALED_OF_CASES)
    ('2026-03-01T00:00:00.000000+00:00', '[6]', True)
    """
    row: dict[str, object] = {
        "case": entry.case,
        "machine": entry.machine,
        "title": entry.title,
        "opened": when(entry.opened),
        "last": when(entry.last),
        "outcome": entry.outcome,
        "causes": json.dumps(entry.causes),
        "rows_failed": json.dumps(entry.rows_failed),
        "minutes": entry.minutes,
        "owner": entry.owner,
        "length": length,
        "head": head,
        "said": sha256(said),
    }
    return {**row, "seal": seal(row[name] for name in SEALED_OF_CASES)}


def entry_in(row: TableRow) -> Entry:
    """The case that a row of the list is about.

    >>> at = datetime(2026, 3, 1, tzinfo=UTC)
    >>> entry = Entry("20260301-a", "mounted-6", "", at, at, "open", (), (6,), 0.0)
    >>> entry_in(case_row(entry)) == entry
    True
    """
    return Entry(
        str(row["case"]),
        str(row["machine"]),
        str(row["title"]),
        datetime.fromisoformat(str(row["opened"])),
        datetime.fromisoformat(str(row["last"])),
        str(row["outcome"]),
        tuple(json.loads(str(row["causes"]))),
        tuple(json.loads(str(row["rows_failed"]))),
        float(str(row["minutes"])),
        str(row["owner"]),
    )


def when(at: datetime) -> str:
    """A time as text that sorts as time does.

    >>> when(datetime(2026, 3, 1, tzinfo=UTC))
    '2026-03-01T00:00:00.000000+00:00'
    """
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def seal(values: Iterable[object]) -> str:
    """A hash of the values of a row, in the order of its columns.

    >>> seal(["a", 1]) == sha256('["a",1]'), seal(["a", 1]) == seal(["a", "1"])
    (True, False)
    """
    return sha256(_json(list(values)))


def is_sealed(row: TableRow, columns: Iterable[str]) -> bool:
    """Whether a row is as it was sealed.

    >>> row = {"a": 1, "seal": seal([1])}
    >>> is_sealed(row, ["a"]), is_sealed({**row, "a": 2}, ["a"])
    (True, False)
    """
    return row["seal"] == seal(row[name] for name in columns)


def sha256(text: str) -> str:
    """The SHA-256 of a text in UTF-8; what a damaged file gives for text has one too.

    >>> sha256("")[:8]
    'e3b0c442'
    """
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


metadata = MetaData()

cases = Table(
    "cases",
    metadata,
    Column("case", String, primary_key=True),
    Column("machine", String, nullable=False),
    Column("title", Text, nullable=False),
    Column("opened", String, nullable=False),
    Column("last", String, nullable=False),
    Column("outcome", String, nullable=False),
    Column("causes", Text, nullable=False),
    Column("rows_failed", Text, nullable=False),
    Column("minutes", Float, nullable=False),
    Column("owner", Text, nullable=False, server_default=""),
    Column("length", Integer, nullable=False, server_default="0"),
    Column("head", String, nullable=False, server_default=""),
    Column("said", String, nullable=False, server_default=""),
    Column("seal", String, nullable=False, server_default=""),
    Index("cases_by_last", "last"),
    Index("cases_by_machine", "machine", "last"),
    Index("cases_by_outcome", "outcome", "last"),
)

events = Table(
    "events",
    metadata,
    Column("case", ForeignKey("cases.case"), primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("id", String, nullable=False, unique=True),
    Column("at", String, nullable=False),
    Column("who", Text, nullable=False),
    Column("kind", String, nullable=False),
    Column("body", Text, nullable=False),
    Column("format", Integer, nullable=False, server_default="1"),
    Column("previous", String, nullable=False, server_default=""),
    Column("sha256", String, nullable=False, server_default=""),
    Index("events_by_who", "who", "at"),
    CheckConstraint("number > 0", name="events_are_numbered_from_one"),
)

drills = Table(
    "drills",
    metadata,
    Column("id", String, primary_key=True),
    Column("at", String, nullable=False),
    Column("who", Text, nullable=False),
    Column("code", String, nullable=False),
    Column("machine", String, nullable=False),
    Column("level", Integer, nullable=False),
    Column("marks", Integer, nullable=False),
    Column("minutes", Float, nullable=False),
    Column("right", Boolean, nullable=False),
    Column("opportunities", Text, nullable=False),
    Column("seal", String, nullable=False, server_default=""),
    Index("drills_by_who", "who", "at"),
)

players = Table(
    "players",
    metadata,
    Column("who", Text, primary_key=True),
    Column("drills", Integer, nullable=False),
    Column("seal", String, nullable=False),
)
"""How many drills somebody finished, so that a lost one is noticed."""
