"""The version of a database: looked at first, brought up to date under a lock, never downgraded."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text
from sqlalchemy.engine import URL

from diagnose.errors import CasebookNewer
from diagnose.store.engine import with_lock, write_ahead, writing
from diagnose.store.tables import NEWEST, VERSION_TABLE
from diagnose.store.troubles import FOREIGN, place

KNOWN = ("0001",)
"""Every version that this program can bring up to date, in order."""

SCRIPTS = Path(__file__).parent / "migrations"


def bring_up_to_date(engine: Engine, url: URL) -> None:
    """Make the tables, or upgrade them, unless that is done.

    Raises `CasebookNewer` and `NotACasebook`, both before anything is written.
    """
    with engine.connect() as connection:
        version = _version(connection, url)
    if engine.dialect.name == "sqlite":
        write_ahead(engine)
    if version == NEWEST:
        return
    with writing(engine) as connection:
        with_lock(connection)
        if _version(connection, url) != NEWEST:
            _upgrade(connection)


def _version(connection: Connection, url: URL) -> str | None:
    """The database's version, None when it is empty."""
    names = set(inspect(connection).get_table_names())
    if VERSION_TABLE not in names:
        if names and connection.dialect.name == "sqlite":
            raise FOREIGN.at(place(url), f"tables of something else: {', '.join(sorted(names))}")
        return None
    found = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()
    if found is not None and found not in KNOWN:
        raise CasebookNewer(
            f"{place(url)}: expected a casebook of version {NEWEST} or older, got {found}; "
            "it was not touched; install the newer rowfault that made it"
        )
    return None if found is None else str(found)


def _upgrade(connection: Connection) -> None:
    from alembic import command  # noqa: PLC0415 (a tenth of a second that most openings spare)
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(SCRIPTS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
