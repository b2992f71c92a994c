"""A connection to the casebook's database, and what its errors mean for somebody who reads them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from diagnose.errors import Unavailable, on_one_line

WAIT_SECONDS = 20
"""So long a writer waits for another one to be done."""

WRITING = "writing"

SAYINGS: tuple[tuple[str, str, str], ...] = (
    ("database is locked", "the casebook to be free", "close the program that holds it, try again"),
    ("lock timeout", "the casebook to be free", "close the program that holds it, and try again"),
    ("disk is full", "room on the disk", "make room and try again; what was saved before is safe"),
    ("no space left", "room on the disk", "make room and try again; what was saved before is safe"),
    ("disk i/o error", "a disk that takes what is written", "see whether it is full or read-only"),
    ("readonly", "a casebook that can be written", "see who owns the file and its folder"),
    ("unable to open", "a file that can be opened", "see whether its folder is there and yours"),
    ("not a database", "a casebook", "it is another file; move it away or name another casebook"),
    ("malformed", "a sound casebook", "the file is damaged; take your last copy or export"),
    ("no such table", "a casebook", "it is another database; name another casebook"),
    ("authentication", "to be let in", "see the name and password in ROWFAULT_CASEBOOK"),
    ("connection", "a database that answers", "see that it runs and that the address is right"),
)
"""What a database may say, what it means that was expected, and what to try."""


def make_engine(url: str | Path) -> Engine:
    """An engine for a file of SQLite, or for the URL of a database.

    A transaction that begins on it reads; one on ``writing(engine)`` holds the right to write from
    its start, so that what it reads cannot change before it writes.

    Raises `Unavailable` for a URL that is none, and where the driver is missing.

    >>> make_engine("sqlite://").dialect.name
    'sqlite'
    >>> make_engine("cases.sqlite")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    diagnose.errors.Unavailable: casebook: expected the URL of a SQLite or PostgreSQL database, ...
    """
    try:
        where = URL.create("sqlite", database=str(url)) if isinstance(url, Path) else make_url(url)
        if where.drivername == "postgresql":
            where = where.set(drivername="postgresql+psycopg")
        engine = create_engine(where, connect_args=_waits(where.drivername))
    except (ArgumentError, NoSuchModuleError, ValueError) as error:
        raise Unavailable(
            "casebook: expected the URL of a SQLite or PostgreSQL database, got something else; "
            "write for example postgresql://name@host/rowfault"
        ) from error
    except ModuleNotFoundError as error:
        raise Unavailable(
            "expected the driver for PostgreSQL, got none; install rowfault[postgres]"
        ) from error
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _prepare_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    return engine


def _waits(driver: str) -> dict[str, Any]:
    """How long a driver waits for somebody else's lock, in its own words."""
    if driver.startswith("sqlite"):
        return {"timeout": WAIT_SECONDS}
    if not driver.startswith("postgresql"):
        return {}
    milliseconds = int(1000 * WAIT_SECONDS)
    return {"connect_timeout": 20, "options": f"-c lock_timeout={milliseconds}"}


def writing(engine: Engine) -> Engine:
    """The same engine, whose transactions are there to write.

    >>> engine = make_engine("sqlite://")
    >>> [each.get_execution_options().get(WRITING) for each in (engine, writing(engine))]
    [None, True]
    """
    return engine.execution_options(**{WRITING: True})


def _prepare_sqlite(connection: sqlite3.Connection, _: Any) -> None:
    connection.isolation_level = None  # begin and commit are said by us alone
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA synchronous=FULL")


def _begin_sqlite(connection: Connection) -> None:
    write = connection.get_execution_options().get(WRITING)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")


@contextmanager
def clear_errors(engine: Engine) -> Iterator[None]:
    """Run the block; what the database complains of becomes `Unavailable` with what to try.

    >>> engine = make_engine("sqlite://")
    >>> with clear_errors(engine), engine.begin() as connection:
    ...     _ = connection.exec_driver_sql("SELECT * FROM cases")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    diagnose.errors.Unavailable: ...: expected a casebook, got 'no such table: cases'; it is ...
    >>> engine.dispose()
    """
    try:
        yield
    except DBAPIError as error:
        raise Unavailable(_words(engine, error)) from error


def _words(engine: Engine, error: DBAPIError) -> str:
    said = on_one_line(str(error.orig).strip())
    where = engine.url.database or ""
    if engine.dialect.name != "sqlite":
        where = f"database {where} at {engine.url.host or 'this machine'}"
    for sign, expected, remedy in SAYINGS:
        if sign in said.lower():
            return f"{where}: expected {expected}, got {said!r}; {remedy}"
    return f"{where}: expected a casebook that answers, got {said!r}; try again"
