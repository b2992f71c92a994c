"""Alembic runs this file; whoever upgrades hands the connection over, in its transaction."""

from __future__ import annotations

from alembic import context

from diagnose.store.tables import METADATA, VERSION_TABLE

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    version_table=VERSION_TABLE,
    transactional_ddl=False,
)
context.run_migrations()
