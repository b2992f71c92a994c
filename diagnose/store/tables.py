"""What the casebook's database holds. The scripts in ``migrations`` make these tables.

Events are what was told; they are inserted and never changed. An entry sums a case up for lists:
it is derived from the case's events in the transaction that adds to them. The search index is
SQLite's FTS5 table ``case_words`` (its rowid is the entry's number) or, on PostgreSQL, the column
``case_entry.words`` with a GIN index.
"""

from __future__ import annotations

from sqlalchemy import Column, Float, ForeignKey, Integer, MetaData, String, Table, Text

VERSION_TABLE = "case_version"
NEWEST = "0001"
"""The version of the database that this program works with."""

METADATA = MetaData()

ENTRY = Table(
    "case_entry",
    METADATA,
    Column("number", Integer, primary_key=True),
    Column("case", String(100), nullable=False, unique=True),
    Column("machine", Text, nullable=False, index=True),
    Column("title", Text, nullable=False),
    Column("opened", String(32), nullable=False),
    Column("last", String(32), nullable=False, index=True),
    Column("outcome", String(20), nullable=False, index=True),
    Column("causes", Text, nullable=False),
    Column("rows_failed", Text, nullable=False),
    Column("minutes", Float, nullable=False),
)
"""Times are UTC in ISO 8601 with microseconds, so that their texts sort; lists are JSON."""

EVENT = Table(
    "case_event",
    METADATA,
    Column("case", String(100), ForeignKey(ENTRY.c.case), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("id", String(32), nullable=False, unique=True),
    Column("at", String(32), nullable=False),
    Column("who", Text, nullable=False),
    Column("kind", String(20), nullable=False),
    Column("body", Text, nullable=False),
)
"""``body`` is the whole event as JSON, from which it is read; the rest is for queries by hand."""
