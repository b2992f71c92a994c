"""A PostgreSQL of our own: started in a temporary folder, gone with it."""

from __future__ import annotations

import os
import pwd
import secrets
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg

DEBIAN = Path("/usr/lib/postgresql")
"""Debian keeps the server's programs here and not on the path."""


def programs() -> Path | None:
    """The folder with ``initdb`` and ``pg_ctl``; None where PostgreSQL is not installed."""
    found = shutil.which("initdb")
    folders = [Path(found).resolve().parent] if found else []
    folders += sorted(DEBIAN.glob("*/bin"), reverse=True)
    both = (folder for folder in folders if (folder / "pg_ctl").exists())
    return next((folder for folder in both if (folder / "initdb").exists()), None)


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
    user = _somebody()
    if user:
        os.chown(folder, *_ids(user))
    data = folder / "data"
    try:
        _run(user, at / "initdb", "-D", data, "-U", "tester", "-A", "trust", "-E", "UTF8", "-N")
        options = f"-k {folder} -c listen_addresses=''"
        log = folder / "log"
        _run(user, at / "pg_ctl", "-D", data, "-w", "-l", log, "-o", options, "start")
        try:
            yield Cluster(folder)
        finally:
            _run(user, at / "pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _somebody() -> str:
    """Another user when this is root, whom the server refuses; empty otherwise."""
    if os.geteuid() != 0:
        return ""
    known = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in known else "nobody"


def _ids(user: str) -> tuple[int, int]:
    entry = pwd.getpwnam(user)
    return entry.pw_uid, entry.pw_gid


def _run(user: str, *words: object) -> None:
    extra: dict[str, Any] = {}
    if user:
        uid, gid = _ids(user)
        extra = {"user": uid, "group": gid, "extra_groups": []}
    command = [str(word) for word in words]
    subprocess.run(
        command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd="/", **extra
    )
