"""Cases, their events, and the words that are searched."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables of the first version."""
    op.create_table(
        "cases",
        sa.Column("case", sa.String, primary_key=True),
        sa.Column("machine", sa.String, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("opened", sa.String, nullable=False),
        sa.Column("last", sa.String, nullable=False),
        sa.Column("outcome", sa.String, nullable=False),
        sa.Column("causes", sa.Text, nullable=False),
        sa.Column("rows_failed", sa.Text, nullable=False),
        sa.Column("minutes", sa.Float, nullable=False),
    )
    op.create_index("cases_by_last", "cases", ["last"])
    op.create_index("cases_by_machine", "cases", ["machine", "last"])
    op.create_index("cases_by_outcome", "cases", ["outcome", "last"])
    op.create_table(
        "events",
        sa.Column("case", sa.String, sa.ForeignKey("cases.case"), primary_key=True),
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("id", sa.String, nullable=False, unique=True),
        sa.Column("at", sa.String, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("kind", sa.String, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.CheckConstraint("number > 0", name="events_are_numbered_from_one"),
    )
    if op.get_bind().dialect.name == "sqlite":
        op.execute('CREATE VIRTUAL TABLE words USING fts5("case" UNINDEXED, said)')
        return
    op.execute(
        'CREATE TABLE words ("case" VARCHAR PRIMARY KEY REFERENCES cases, said TEXT NOT NULL, '
        "found TSVECTOR GENERATED ALWAYS AS (to_tsvector('simple', said)) STORED)"
    )
    op.execute("CREATE INDEX words_found ON words USING gin (found)")
