"""Casebooks for tests: a file of SQLite, and a PostgreSQL server of the test run's own."""

from __future__ import annotations

import os
import pwd
import secrets
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

import psycopg
import pytest

from diagnose.store.casebook import Casebook, open_casebook


def _program(name: str) -> str | None:
    """A program of PostgreSQL's server, on the path or where Debian puts it."""
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    return str(places[-1]) if places else shutil.which(name)


class Server:
    """A PostgreSQL server that lives as long as the test run, in a folder of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.data = folder, folder / "data"
        self.user = "postgres" if os.geteuid() == 0 else pwd.getpwuid(os.geteuid()).pw_name
        if os.geteuid() == 0:  # the server refuses to run as root
            shutil.chown(folder, self.user)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self._run("initdb", "-D", str(self.data), "-A", "trust", "-U", "tests", "-E", "UTF8")
        self.start()

    def start(self) -> None:
        """Start the server, and wait until it lets somebody in."""
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -k {self.folder} -c fsync=on"
        log = str(self.folder / "log")
        self._run("pg_ctl", "-D", str(self.data), "-w", "-l", log, "-o", options, "start")

    def restart(self) -> None:
        """Stop the server, which ends every connection, and start it again."""
        self.stop("fast")
        self.start()

    def end_connections(self, database: str) -> None:
        """Kill the server's part of every connection to a database."""
        where = f"host=127.0.0.1 port={self.port} user=tests dbname=postgres"
        with psycopg.connect(where, autocommit=True) as connection:
            said = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s"
            connection.execute(said, [database])

    def crash(self) -> None:
        """Kill all of the server's processes, and start it again."""
        every = self._processes()
        for process in every:
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
        until = time.monotonic() + 10
        while any(map(_runs, every)) and time.monotonic() < until:
            time.sleep(0.01)
        # A process that nobody has counted as dead yet would still seem to hold these.
        for left in (self.data / "postmaster.pid", self.folder / f".s.PGSQL.{self.port}.lock"):
            left.unlink(missing_ok=True)
        self.start()

    def _processes(self) -> list[int]:
        """The first of the server's processes, and those that it began."""
        first = int((self.data / "postmaster.pid").read_text().split()[0])
        children = Path(f"/proc/{first}/task/{first}/children")
        with suppress(OSError):
            return [first, *map(int, children.read_text().split())]
        return [first]

    @contextmanager
    def held_still(self) -> Iterator[None]:
        """Stop all of the server's processes where they are, then let them go on."""
        every = self._processes()
        for process in every:
            os.kill(process, signal.SIGSTOP)
        try:
            yield
        finally:
            for process in every:
                os.kill(process, signal.SIGCONT)

    def _run(self, name: str, *arguments: str) -> None:
        program = _program(name)
        assert program is not None
        command: Sequence[str] = [program, *arguments]
        as_user = {"user": self.user, "cwd": "/"} if os.geteuid() == 0 else {}
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=_bare(), **as_user)  # type: ignore[call-overload]

    def new_database(self) -> str:
        """The URL of an empty database."""
        name = f"casebook_{secrets.token_hex(4)}"
        client = _program("createdb")
        assert client is not None
        where = ["-h", "127.0.0.1", "-p", str(self.port), "-U", "tests"]
        subprocess.run([client, *where, name], check=True, env=_bare())
        return f"postgresql://tests@127.0.0.1:{self.port}/{name}"

    @contextmanager
    def on_disk(self, disk: Path) -> Iterator[str]:
        """The URL of an empty database that lives on a disk of its own."""
        place = disk / "space"
        place.mkdir()
        if os.geteuid() == 0:
            shutil.chown(place, self.user)
        name = f"small_{secrets.token_hex(4)}"
        where = f"host=127.0.0.1 port={self.port} user=tests dbname=postgres"
        with psycopg.connect(where, autocommit=True) as connection:
            connection.execute(f"CREATE TABLESPACE {name} LOCATION '{place}'".encode())
            connection.execute(f"CREATE DATABASE {name} TABLESPACE {name}".encode())
            try:
                yield f"postgresql://tests@127.0.0.1:{self.port}/{name}"
            finally:
                connection.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())
                connection.execute(f"DROP TABLESPACE {name}".encode())

    def stop(self, mode: str = "immediate") -> None:
        """Stop the server, which ends every connection; at once, or after it tidied up (fast)."""
        self._run("pg_ctl", "-D", str(self.data), "-m", mode, "stop")


def _runs(process: int) -> bool:
    """Whether a process is there and not merely waiting to be counted as dead."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def _bare() -> dict[str, str]:
    return {"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"}


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    if _program("initdb") is None:
        pytest.skip("PostgreSQL is not installed here")
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    started = Server(folder)
    yield started
    started.stop()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of an empty casebook, on both databases in turn."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'casebook.sqlite'}"
    started: Server = request.getfixturevalue("server")
    return started.new_database()


@pytest.fixture
def casebook(url: str) -> Iterator[Casebook]:
    with open_casebook(url) as opened:
        yield opened
