"""A connection to the casebook's database, and what its errors mean for somebody who reads them."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, OperationalError
from sqlalchemy.pool import StaticPool

from diagnose.errors import Unavailable, on_one_line
from diagnose.store import sqlitefile
from diagnose.store.address import address_of, place_of_url, without_secrets

WAIT_SECONDS = 20
"""So long a writer waits for another one to be done."""

WRITING, READ_ONLY = "writing", "read_only"

_SAYINGS: tuple[tuple[str, str, str], ...] = (
    ("database is locked", "the casebook to be free", "close the program that holds it, try again"),
    ("lock timeout", "the casebook to be free", "close the program that holds it, and try again"),
    ("disk is full", "room on the disk", "make room and try again; what was saved before is safe"),
    ("no space left", "room on the disk", "make room and try again; what was saved before is safe"),
    ("disk i/o error", "a disk that takes what is written", "see whether it is full or read-only"),
    ("readonly", "a casebook that can be written", "see who owns the file and its folder"),
    ("unable to open", "a file that can be opened", "see whether its folder is there and yours"),
    ("permission", "a file that can be opened", "see whether its folder is there and yours"),
    ("no such file", "a file that can be opened", "see whether its folder is there and yours"),
    ("not a database", "a casebook", "it is another file; move it away or name another casebook"),
    ("malformed", "a sound casebook", "the file is damaged; take your last copy or export"),
    ("no such table", "a casebook", "it is another database; name another casebook"),
    (
        "does not support ssl",
        "a connection that nobody can listen to (TLS)",
        "turn TLS on at the server, or add ?sslmode=disable to the URL where the network is safe",
    ),
    ("relation", "a casebook", "it is another database; name another casebook"),
    ("does not exist", "a database that is there", "see the names in ROWFAULT_CASEBOOK"),
    ("pg_hba", "to be let in", "see the name and password in ROWFAULT_CASEBOOK"),
    ("the database system is", "a database that answers", "wait until it has started, try again"),
    ("authentication", "to be let in", "see the name and password in ROWFAULT_CASEBOOK"),
    ("statement timeout", "an answer within seconds", "see what keeps the server, and try again"),
    ("no answer", "a database that answers", "see that the server is not stopped, and try again"),
    ("timeout", "a database that answers", "see that it runs and that the address is right"),
    ("connection", "a database that answers", "see that it runs and that the address is right"),
    ("translate host name", "a database that answers", "see that the host's name is right"),
)
"""What a database may say, what it means that was expected, and what to try."""

LOST = ("08", "57P")
"""How the codes begin of errors that say that a connection, or the server, comes to its end."""


def make_engine(named: str | Path) -> Engine:
    """An engine for a file of SQLite, or for the URL of a database.

    A transaction that begins on it reads; one on ``writing(engine)`` holds the right to write from
    its start, so that what it reads cannot change before it writes. A file that this user cannot
    write is copied into memory, and read there.

    Raises `Unavailable` for a URL that is none, and where the driver is missing.

    >>> make_engine("sqlite://").dialect.name
    'sqlite'
    >>> make_engine("cases.sqlite")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    diagnose.errors.Unavailable: casebook: expected the URL of a SQLite or PostgreSQL database, ...
    """
    url = address_of(named)
    try:
        return _sqlite(url) if url.get_backend_name() == "sqlite" else _postgres(url)
    except (ArgumentError, NoSuchModuleError, ValueError) as error:
        raise Unavailable(
            "casebook: expected the URL of a SQLite or PostgreSQL database, got something else; "
            "write for example postgresql://name@host/rowfault"
        ) from error
    except ModuleNotFoundError as error:
        raise Unavailable(
            "expected the driver for PostgreSQL, got none; install rowfault[postgres]"
        ) from error


def _sqlite(url: URL) -> Engine:
    file = sqlitefile.file_of(url)
    if file is not None and sqlitefile.is_read_only_file(file, url):
        copy = file
        engine = create_engine(url, creator=lambda: sqlitefile.copied(copy), poolclass=StaticPool)
    else:
        copy = None
        engine = create_engine(url, connect_args={"timeout": WAIT_SECONDS})
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine.execution_options(**{READ_ONLY: True}) if copy else engine


def _postgres(url: URL) -> Engine:
    engine = create_engine(url.set(drivername="postgresql+psycopg"))
    from diagnose.store import postgres  # noqa: PLC0415  (the driver is an extra)

    options = postgres.options(url, WAIT_SECONDS)

    @event.listens_for(engine, "do_connect")
    def connect(_: object, __: object, arguments: list[Any], said: dict[str, Any]) -> object:
        return postgres.Connection.connect(*arguments, **{**said, **options})

    return engine


def reading(engine: Engine) -> Engine:
    """The same engine, whose transactions see one state, whatever others add meanwhile.

    SQLite does so by itself.

    >>> reading(make_engine("sqlite://")).get_execution_options()
    immutabledict({})
    """
    if engine.dialect.name == "sqlite":
        return engine
    return engine.execution_options(isolation_level="REPEATABLE READ")


def writing(engine: Engine) -> Engine:
    """The same engine, whose transactions are there to write.

    >>> engine = make_engine("sqlite://")
    >>> [each.get_execution_options().get(WRITING) for each in (engine, writing(engine))]
    [None, True]
    """
    return engine.execution_options(**{WRITING: True})


def is_read_only(engine: Engine) -> bool:
    """Whether the engine has a copy in memory of what cannot be written.

    >>> is_read_only(make_engine("sqlite://"))
    False
    """
    return bool(engine.get_execution_options().get(READ_ONLY))


def _prepare_sqlite(connection: sqlite3.Connection, _: Any) -> None:
    connection.isolation_level = None  # begin and commit are said by us alone
    # Damaged text is read as it is, so that its hash can tell whose it is.
    connection.text_factory = _text
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA synchronous=FULL")


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", "surrogateescape")


def _begin_sqlite(connection: Connection) -> None:
    write = connection.get_execution_options().get(WRITING)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")


def is_gone(engine: Engine, error: DBAPIError) -> bool:
    """Whether a server is not there, or was lost meanwhile; a file never is.

    >>> lost = DBAPIError("", None, Exception("server closed the connection"))
    >>> is_gone(make_engine("sqlite://"), lost)
    False
    """
    if engine.dialect.name == "sqlite":
        return False
    # While it is connected to, a server's errors have no code, whatever its language.
    code = getattr(error.orig, "sqlstate", None)
    lost = isinstance(error, OperationalError) and (code is None or code.startswith(LOST))
    return lost or error.connection_invalidated


@contextmanager
def clear_errors(engine: Engine, but_gone: bool = False) -> Iterator[None]:
    """Run the block; what the database complains of becomes `Unavailable` with what to try.

    With ``but_gone``, the loss of a server is left as it is.

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
        if but_gone and is_gone(engine, error):
            raise
        raise Unavailable(error_in_words(engine, error)) from error
    except UnicodeError as error:  # SQLite's own message, of a damaged file
        raise Unavailable(_complaint(engine, "malformed text")) from error
    except (sqlite3.Error, OSError) as error:
        said = error.strerror if isinstance(error, OSError) else None
        raise Unavailable(_complaint(engine, said or str(error))) from error


def error_in_words(engine: Engine, error: DBAPIError) -> str:
    """What an error of the database means, and what to try.

    >>> full = DBAPIError("", None, Exception("database or disk is full"))
    >>> error_in_words(make_engine("sqlite://"), full)  # doctest: +ELLIPSIS
    "casebook in memory: expected room on the disk, got 'database or disk is full'; make room ..."
    """
    return _complaint(engine, str(error.orig))


def _complaint(engine: Engine, raw: str) -> str:
    where = place_of_url(engine.url)
    if engine.dialect.name == "sqlite":
        said = on_one_line(raw.strip())
    else:
        said = without_secrets(raw, engine.url)
    for sign, expected, remedy in _SAYINGS:
        if sign in raw.lower():
            return f"{where}: expected {expected}, got {said!r}; {remedy}"
    return f"{where}: expected a casebook that answers, got {said!r}; try again"
