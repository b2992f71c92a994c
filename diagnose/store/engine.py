"""Connections: to which database, with which promises, and transactions that write or read."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from diagnose.errors import DatabaseUnreachable, InputError, Place, Problem
from diagnose.knowledge.places import own
from diagnose.store.troubles import CLOSED

CASEBOOK_VARIABLE = "ROWFAULT_CASEBOOK"
FILE = "casebook.db"
WRITES = "casebook_writes"
"""The option of a connection whose next transaction will write."""

EXAMPLE = "for example postgresql://user@host/casebook, or the path of a file"


def address(named: str | None = None) -> URL:
    """The casebook's URL: as named, else by ``ROWFAULT_CASEBOOK``, else in the user's own folder.

    A name without ``://`` is the path of an SQLite file. Raises `InputError`.

    >>> address("shop.db").drivername, address("postgresql://ann@db.example/shop").drivername
    ('sqlite', 'postgresql+psycopg')
    """
    name = named or os.environ.get(CASEBOOK_VARIABLE) or str(own().root / FILE)
    if "://" not in name:
        return URL.create("sqlite", database=name)
    where = Place("the casebook's address")
    try:
        url = make_url(name)
    except (ArgumentError, ValueError):
        raise InputError(Problem(where, "a URL", "what is none", EXAMPLE)) from None
    if url.drivername in ("postgresql", "postgres"):
        url = url.set(drivername="postgresql+psycopg")
    if url.drivername not in ("sqlite", "postgresql+psycopg"):
        expected = "a URL of sqlite or postgresql"
        raise InputError(Problem(where, expected, repr(url.drivername), EXAMPLE))
    return url


def connected(url: URL, patience: float) -> Engine:
    """What makes connections; none is made yet. Raises `DatabaseUnreachable`, `CasebookReadOnly`.

    ``patience`` is how many seconds somebody else's writing is waited for.
    """
    if url.get_backend_name() == "sqlite":
        return _sqlite(url, patience)
    try:
        engine = create_engine(
            url, pool_pre_ping=True, connect_args={"connect_timeout": max(2, round(patience))}
        )
    except ImportError as error:
        raise DatabaseUnreachable(
            "postgresql: expected the driver psycopg, got none; "
            "install it with: uv pip install 'rowfault[postgres]'"
        ) from error

    @event.listens_for(engine, "begin")
    def wait_for_locks(connection: Connection) -> None:
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {round(1000 * patience)}")

    return engine


def _sqlite(url: URL, patience: float) -> Engine:
    """SQLite in which transactions begin when we say so, and what is committed is on the disk."""
    if url.database and url.database != ":memory:":
        _make_folder(Path(url.database).parent)
    engine = create_engine(url, connect_args={"timeout": patience})

    @event.listens_for(engine, "connect")
    def promise(connection: sqlite3.Connection, _: Any) -> None:
        connection.isolation_level = None
        for pragma in ("foreign_keys = ON", "synchronous = FULL"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(WRITES)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CLOSED.at(str(folder), error.strerror or "") from error


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """A transaction that writes: all of it, or nothing."""
    with engine.connect() as connection, connection.execution_options(**{WRITES: True}).begin():
        yield connection


def write_ahead(engine: Engine) -> None:
    """Let readers read while somebody writes (SQLite's WAL); the file remembers it."""
    with engine.connect() as connection:
        driver = connection.connection.driver_connection
        assert isinstance(driver, sqlite3.Connection)
        driver.execute("PRAGMA journal_mode = WAL")


def with_lock(connection: Connection) -> None:
    """Keep other upgrades out until the transaction ends; SQLite's transaction does by itself."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(7264310)"))
