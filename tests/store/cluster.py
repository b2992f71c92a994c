"""A PostgreSQL of our own: started in a temporary folder, gone with it."""

from __future__ import annotations

import os
import pwd
import secrets
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg

DEBIAN = Path("/usr/lib/postgresql")
"""Debian keeps the server's programs here and not on the path."""


def programs() -> Path | None:
    """The folder with ``initdb`` and ``postgres``; None where PostgreSQL is not installed."""
    found = shutil.which("initdb")
    folders = [Path(found).resolve().parent] if found else []
    folders += sorted(DEBIAN.glob("*/bin"), reverse=True)
    return next((folder for folder in folders if (folder / "postgres").exists()), None)


@dataclass(frozen=True)
class Cluster:
    """A server that listens on a socket in its folder, and on no network."""

    folder: Path

    def database(self) -> str:
        """The URL of a new, empty database."""
        name = f"test_{secrets.token_hex(6)}"
        with psycopg.connect(self.conninfo, autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return f"postgresql://tester@/{name}?host={self.folder}"

    @property
    def conninfo(self) -> str:
        """How the driver reaches the server itself."""
        return f"host={self.folder} user=tester dbname=postgres"


@contextmanager
def started(at: Path) -> Iterator[Cluster]:
    """A cluster that runs until the block ends."""
    folder = Path(tempfile.mkdtemp(prefix="rowfault-pg-"))
    somebody = _somebody(folder)
    data = folder / "data"
    made = [at / "initdb", "-D", data, "-U", "tester", "-A", "trust", "-E", "UTF8", "-N"]
    serve = [at / "postgres", "-D", data, "-k", folder, "-c", "listen_addresses="]
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": "/"}
    try:
        subprocess.run([str(word) for word in made], check=True, **quiet, **somebody)
        with subprocess.Popen([str(word) for word in serve], **quiet, **somebody) as server:
            try:
                yield _answering(Cluster(folder))
            finally:
                server.send_signal(signal.SIGQUIT)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _answering(cluster: Cluster) -> Cluster:
    """The cluster once it lets somebody in; half a minute is waited for that."""
    until = time.monotonic() + 30
    while True:
        try:
            psycopg.connect(cluster.conninfo).close()
            return cluster
        except psycopg.OperationalError:
            if time.monotonic() > until:
                raise
            time.sleep(0.1)


def _somebody(folder: Path) -> dict[str, Any]:
    """Another user, who then owns the folder, when this is root, whom the server refuses."""
    if os.geteuid() != 0:
        return {}
    known = {entry.pw_name for entry in pwd.getpwall()}
    entry = pwd.getpwnam("postgres" if "postgres" in known else "nobody")
    os.chown(folder, entry.pw_uid, entry.pw_gid)
    return {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
