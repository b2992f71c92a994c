"""The version of a casebook's tables, and how an older one is brought up to date.

There is no way back: whoever must go on with an older program exports the cases and imports them
there.
"""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from diagnose.errors import Unavailable
from diagnose.store.engine import writing

VERSION = "0003"
"""The version that this program writes: the last of ``migrations/versions``."""

LOCK = 7_226_473
"""Names the lock that PostgreSQL gives to whoever changes the tables; any number would do."""


def bring_up_to_date(engine: Engine) -> None:
    """Make the tables, or change them to `VERSION`, as one transaction.

    Raises `Unavailable` for a casebook of a newer program, which is left as it is.

    >>> from diagnose.store.engine import make_engine
    >>> engine = make_engine("sqlite://")
    >>> bring_up_to_date(engine)
    >>> with engine.connect() as connection:
    ...     print(version_of(connection) == VERSION)
    True
    >>> engine.dispose()
    """
    with engine.connect() as connection:
        if version_of(connection) == VERSION:
            return
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            # Outside any transaction, and kept in the file from then on.
            connection.exec_driver_sql("COMMIT")
            connection.exec_driver_sql("PRAGMA journal_mode=WAL")
    with writing(engine).begin() as connection:
        if engine.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
        _upgrade(connection)


def version_of(connection: Connection) -> str | None:
    """The version of the tables; None where there are none yet.

    >>> from diagnose.store.engine import make_engine
    >>> engine = make_engine("sqlite://")
    >>> for make in (lambda engine: None, bring_up_to_date):
    ...     make(engine)
    ...     with engine.connect() as connection:
    ...         print(version_of(connection) == VERSION)
    False
    True
    >>> engine.dispose()
    """
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _upgrade(connection: Connection) -> None:
    # Alembic is slow to import, and needed once in the life of a casebook.
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415
    from alembic.script import ScriptDirectory  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    version = version_of(connection)
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if version is not None and version not in known:
        raise Unavailable(
            f"{connection.engine.url.database}: expected a casebook of version {VERSION} or older, "
            f"got version {version}; it is from a newer rowfault: install that, or name another "
            "casebook"
        )
    command.upgrade(config, "head")
