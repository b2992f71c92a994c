"""Drills that somebody finished."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the table of drills; cases are left as they are."""
    op.create_table(
        "drills",
        sa.Column("id", sa.String, primary_key=True),
        sa.Column("at", sa.String, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("code", sa.String, nullable=False),
        sa.Column("machine", sa.String, nullable=False),
        sa.Column("level", sa.Integer, nullable=False),
        sa.Column("marks", sa.Integer, nullable=False),
        sa.Column("minutes", sa.Float, nullable=False),
        sa.Column("right", sa.Boolean, nullable=False),
        sa.Column("opportunities", sa.Text, nullable=False),
    )
    op.create_index("drills_by_who", "drills", ["who", "at"])
