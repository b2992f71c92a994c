"""Alembic's entry: run the versions on the connection that `diagnose.store.schema` holds."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
context.run_migrations()
