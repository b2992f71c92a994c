"""Cases as events, an entry for each, and the index for searching."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "case_entry",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("case", sa.String(100), nullable=False, unique=True),
        sa.Column("machine", sa.Text, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("opened", sa.String(32), nullable=False),
        sa.Column("last", sa.String(32), nullable=False),
        sa.Column("outcome", sa.String(20), nullable=False),
        sa.Column("causes", sa.Text, nullable=False),
        sa.Column("rows_failed", sa.Text, nullable=False),
        sa.Column("minutes", sa.Float, nullable=False),
    )
    for column in ("machine", "last", "outcome"):
        op.create_index(f"ix_case_entry_{column}", "case_entry", [column])
    op.create_table(
        "case_event",
        sa.Column("case", sa.String(100), sa.ForeignKey("case_entry.case"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("id", sa.String(32), nullable=False, unique=True),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
    )
    _make_index(op.get_bind().dialect.name)


def _make_index(dialect: str) -> None:
    if dialect == "sqlite":
        op.execute("CREATE VIRTUAL TABLE case_words USING fts5(words)")
    else:
        op.execute("ALTER TABLE case_entry ADD COLUMN words tsvector")
        op.execute("CREATE INDEX ix_case_entry_words ON case_entry USING gin (words)")
