"""A database that is gone for a moment costs nothing; one that hangs is said within seconds."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Connection

from diagnose.errors import InputError, Unavailable
from diagnose.observations.entries import Event, Noted, Opened, new_event
from diagnose.store import server as servers
from diagnose.store.casebook import Casebook, open_casebook
from diagnose.store.server import BACK, KEPT
from tests.store import older
from tests.store.conftest import Server

pytestmark = pytest.mark.slow  # a server is stopped, started and waited for

CASE = "20260301-a"


def note(text: str = "hose chafed") -> Event:
    return new_event(Noted(text), "Ann")


@pytest.fixture
def database(server: Server) -> str:
    url = server.new_database()
    with open_casebook(url) as casebook:
        casebook.begin(new_event(Opened(case=CASE, machine="mounted-6"), "Ann"))
    return url


@pytest.fixture
def heard() -> list[str]:
    """What somebody at the casebook is told."""
    return []


@pytest.fixture
def held(database: str, heard: list[str]) -> Iterator[Casebook]:
    """A casebook in use."""
    with open_casebook(database, heard.append) as casebook:
        casebook.events(CASE)
        yield casebook


def test_a_killed_connection_loses_nothing_and_is_told(
    server: Server, database: str, held: Casebook, heard: list[str]
) -> None:
    for kill in range(3):
        server.end_connections(database.rpartition("/")[2])
        held.add(CASE, note(f"{kill}"))
    assert heard == [KEPT] * 3
    server.end_connections(database.rpartition("/")[2])
    assert len(held.events(CASE)) == 4
    assert heard[3:] == [BACK]


def test_a_restart_of_the_server_loses_nothing_and_is_told(
    server: Server, held: Casebook, heard: list[str]
) -> None:
    server.restart()
    held.add(CASE, note())
    assert (len(held.events(CASE)), heard[-1]) == (2, KEPT)


def test_a_server_that_is_down_for_a_moment_is_waited_for(
    server: Server, held: Casebook, heard: list[str]
) -> None:
    server.stop("fast")
    back = threading.Timer(1.0, server.start)
    back.start()
    try:
        held.add(CASE, note())
    finally:
        back.join()
    assert (len(held.events(CASE)), heard[-1]) == (2, KEPT)


def lose_after_commit(monkeypatch: pytest.MonkeyPatch, server: Server, database: str) -> list[int]:
    """Let each first commit be kept, and its answer lost on the way back."""
    commit, lost = Connection._commit_impl, []  # type: ignore[attr-defined]

    def commits(self: Connection) -> None:
        commit(self)
        if not lost:
            lost.append(1)
            server.end_connections(database.rpartition("/")[2])
            self.exec_driver_sql("SELECT 1")

    monkeypatch.setattr(Connection, "_commit_impl", commits)
    return lost


@pytest.mark.parametrize("act", ["add", "merge", "begin", "drill"])
def test_what_was_in_doubt_and_kept_is_not_there_twice(
    server: Server, database: str, held: Casebook, act: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    opening = new_event(Opened(case="20260301-b", machine="mounted-6"), "Ann")
    lost = lose_after_commit(monkeypatch, server, database)
    match act:
        case "add":
            held.add(CASE, note())
            assert len(held.events(CASE)) == 2
        case "merge":
            assert held.merge([opening, note()]) == 2
            assert len(held.events("20260301-b")) == 2
        case "begin":
            held.begin(opening)
            assert len(held.events("20260301-b")) == 1
            with pytest.raises(InputError):
                held.begin(opening)
        case "drill":
            held.keep_drill(older.done("Ann"))
            assert len(held.drills("Ann")) == 1
    assert lost
    assert held.check().problems == ()


def seconds(since: float) -> float:
    return time.monotonic() - since


def test_a_server_that_stays_away_is_said_within_seconds(
    server: Server, held: Casebook, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(servers, "RETURN_SECONDS", 1.0)
    server.stop("fast")
    try:
        start = time.monotonic()
        with pytest.raises(Unavailable, match="expected a database that answers"):
            held.add(CASE, note())
        assert seconds(start) < 5
    finally:
        server.start()
    held.add(CASE, note())
    assert len(held.events(CASE)) == 2


def test_a_server_that_hangs_is_said_within_seconds_and_used_again(
    server: Server, held: Casebook, heard: list[str]
) -> None:
    with server.held_still():
        start = time.monotonic()
        with pytest.raises(Unavailable, match="expected a database that answers"):
            held.add(CASE, note())
        assert seconds(start) < 10
    assert KEPT not in heard
    held.add(CASE, note())
    assert len(held.events(CASE)) in (2, 3)
    assert held.check().problems == ()


def test_a_socket_that_never_answers_is_said_within_seconds() -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        start = time.monotonic()
        with pytest.raises(Unavailable, match="expected a database that answers"):
            open_casebook(f"postgresql://me@127.0.0.1:{silent.getsockname()[1]}/cases")
        assert seconds(start) < 8


def test_a_server_without_tls_is_refused_where_it_is_wanted(database: str) -> None:
    with pytest.raises(Unavailable, match="sslmode=disable"):
        open_casebook(f"{database}?sslmode=require")


def test_somebody_elses_open_transaction_is_said_within_seconds(
    database: str, held: Casebook
) -> None:
    import psycopg

    with psycopg.connect(database) as other:
        other.execute("SELECT 1 FROM cases FOR UPDATE")
        start = time.monotonic()
        with pytest.raises(Unavailable, match="expected the casebook to be free"):
            held.add(CASE, note())
        assert seconds(start) < 6


def test_a_file_never_waits(tmp_path: Path) -> None:
    heard: list[str] = []
    with open_casebook(f"sqlite:///{tmp_path / 'casebook.sqlite'}", heard.append) as casebook:
        casebook.begin(new_event(Opened(case=CASE, machine="mounted-6"), "Ann"))
    assert heard == []
