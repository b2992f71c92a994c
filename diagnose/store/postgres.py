"""Connections to PostgreSQL that wait for an answer only so long."""

from __future__ import annotations

import os
from collections.abc import Generator
from time import monotonic
from typing import Any

import psycopg
from psycopg.waiting import Ready, Wait
from sqlalchemy.engine import URL

from diagnose.store.address import is_beyond_loopback

CONNECT_SECONDS = 3
"""So long a server may take to let somebody in."""

ANSWER_SECONDS = 4.0
"""So long it may say nothing after it was asked."""

LOCK_SECONDS = 3.0
"""So long a statement waits for somebody else's transaction."""

VERIFIED = ("verify-ca", "verify-full")


class Connection(psycopg.Connection[Any]):
    """A connection that is closed, with an error, when nothing comes for `limit` seconds.

    A server that was stopped, or a cable that was pulled, says nothing at all: only this side can
    end the wait. ``limit`` is None while tables are changed, which may take long.
    """

    limit: float | None = ANSWER_SECONDS

    def wait(self, gen: Any, *arguments: Any, **options: Any) -> Any:
        """Do what is to be done on the connection. Raises `psycopg.OperationalError`."""
        if self.limit is None:
            return super().wait(gen, *arguments, **options)
        try:
            return super().wait(_while_answered(gen, self.limit), *arguments, **options)
        except _NoAnswer:
            self.pgconn.finish()
            raise


class _NoAnswer(psycopg.OperationalError):
    """The server said nothing for too long."""


def _while_answered(gen: Any, limit: float) -> Generator[Wait, Ready | int, Any]:
    """The same waits, until nothing came for ``limit`` seconds."""
    since = monotonic()
    try:
        waits = next(gen)
        while True:
            ready = yield waits
            if ready != Ready.NONE:
                since = monotonic()
            elif monotonic() - since > limit:
                raise _NoAnswer(f"no answer for {limit:g} s")
            waits = gen.send(ready)
    except StopIteration as done:
        return done.value


def options(url: URL, lock_seconds: float) -> dict[str, Any]:
    """How to connect: limits of time, and TLS unless the URL says otherwise or stays here.

    >>> from sqlalchemy.engine import make_url
    >>> options(make_url("postgresql://db.local/rowfault"), 3.0)["sslmode"]
    'require'
    >>> "sslmode" in options(make_url("postgresql://localhost/rowfault"), 3.0)
    False
    """
    limits = {
        "lock_timeout": 1000 * min(lock_seconds, LOCK_SECONDS),
        "statement_timeout": 1000 * ANSWER_SECONDS,
        "idle_in_transaction_session_timeout": 30_000,
    }
    said = " ".join(f"-c {name}={milliseconds:.0f}" for name, milliseconds in limits.items())
    ours: dict[str, Any] = {"connect_timeout": CONNECT_SECONDS, "options": said}
    if is_beyond_loopback(url) and os.environ.get("PGSSLMODE") not in VERIFIED:
        ours["sslmode"] = "require"
    return {name: value for name, value in ours.items() if name not in url.query}
