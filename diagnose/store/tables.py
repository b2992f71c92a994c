"""The tables of the casebook. `migrations` makes them; a test holds the two to one another.

Events are the truth. What stands in ``cases`` and ``words`` is worked out from them, in the same
transaction, so that lists and searches need not replay. Drills stand by themselves.

Every event has its place in its case's chain (`diagnose.observations.chain`): the hash before it,
and its own, of that, of the version of its form and of its text. A case knows how many events it
has and the hash of the last; ``said`` is the hash of its words. A ``seal`` is a hash of a whole
row, so that a changed one is noticed.
"""

from __future__ import annotations

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
