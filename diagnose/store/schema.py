"""The version of a casebook's tables, and how an older one is brought up to date.

There is no way back: whoever must go on with an older program exports the cases and imports them
there.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from diagnose.errors import Unavailable
from diagnose.store import sqlitefile
from diagnose.store.address import place_of_url
from diagnose.store.engine import is_read_only, make_engine, writing
from diagnose.store.listing import note_all

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
    file = sqlitefile.file_of(engine.url)
    if file is not None and not is_read_only(engine):
        if file.exists():
            sqlitefile.refuse_empty(file)
        else:
            sqlitefile.make(file, _fill)
        sqlitefile.tighten(file)
    _migrate(engine)
    if file is not None and not is_read_only(engine):
        sqlitefile.tighten(file)


def _fill(file: Path) -> None:
    """Make the tables in a file that has nothing in it yet."""
    engine = make_engine(file)
    try:
        _migrate(engine)
    finally:
        engine.dispose()


def _migrate(engine: Engine) -> None:
    with engine.connect() as connection:
        version = version_of(connection)
        if version == VERSION:
            return
        if engine.dialect.name == "sqlite":
            _refuse_strange(connection, version)
            # Outside any transaction, and kept in the file from then on.
            connection.exec_driver_sql("COMMIT")
            connection.exec_driver_sql("PRAGMA journal_mode=WAL")
    with writing(engine).begin() as connection, _unhurried(connection):
        _upgrade(connection)


def _refuse_strange(connection: Connection, version: str | None) -> None:
    """Raise `Unavailable` for a file that has something in it, but not the tables' version."""
    if version is None and connection.execute(text("PRAGMA page_count")).scalar_one() > 1:
        raise Unavailable(
            f"{place_of_url(connection.engine.url)}: expected a casebook, got another database or "
            "a "
            "damaged one; put your last copy there, or name another casebook"
        )


@contextmanager
def _unhurried(connection: Connection) -> Iterator[None]:
    """Let statements take as long as a large casebook needs, and be alone with the tables."""
    if connection.dialect.name != "postgresql":
        yield
        return
    raw = connection.connection.driver_connection
    before = getattr(raw, "limit", None)
    setattr(raw, "limit", None)  # noqa: B010  (a connection of our own class)
    try:
        for name in ("statement_timeout", "lock_timeout"):
            connection.execute(text(f"SET LOCAL {name} = 0"))
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
        yield
    finally:
        setattr(raw, "limit", before)  # noqa: B010


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
            f"{place_of_url(connection.engine.url)}: expected a casebook of version {VERSION} or "
            f"older, got version {version}; it is from a newer rowfault: install that, or name "
            "another casebook"
        )
    command.upgrade(config, "head")
    if version is not None:
        note_all(connection)
