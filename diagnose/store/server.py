"""Transactions on a database that may be gone for a moment."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from diagnose.errors import Unavailable
from diagnose.store.address import place_of_url
from diagnose.store.engine import (
    clear_errors,
    error_in_words,
    is_gone,
    is_read_only,
    reading,
    writing,
)

RETURN_SECONDS, STARTING_SECONDS, SILENT_SECONDS = 10.0, 60.0, 3.0
"""So long a server is waited for that is away; that says that it starts; that says nothing."""

PAUSE_SECONDS, WAITING_SECONDS = 0.2, 1.0

WAITING = "The casebook is gone for the moment; trying again."
KEPT = "The casebook was gone for a moment and is back; what you entered is kept."
BACK = "The casebook was gone for a moment and is back."

_Given = TypeVar("_Given")

_Act = Callable[[Connection, bool], _Given]
"""What is done in one transaction; the flag says that an earlier try may have been kept."""


class Server:
    """An engine whose transactions are done again when the connection was lost.

    Whatever is done again is told whether the try before may have been kept after all, so that
    nothing is ever there twice. ``tell`` hears in one sentence that the database was gone.
    """

    def __init__(self, engine: Engine, tell: Callable[[str], None] | None = None) -> None:
        self._engine, self._tell = engine, tell

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def read(self, act: _Act[_Given]) -> _Given:
        """What ``act`` gives. Raises `Unavailable`."""
        return self._done(act, reading(self._engine), BACK)

    def write(self, act: _Act[_Given]) -> _Given:
        """The same, which may write; it is safe on the disk when this returns.

        Raises `Unavailable`, also where the casebook can only be read.
        """
        if is_read_only(self._engine):
            raise Unavailable(
                f"{place_of_url(self._engine.url)}: expected a casebook that can be written, "
                "got one "
                "that can only be read; see who owns the file and its folder"
            )
        return self._done(act, writing(self._engine), KEPT)

    def _done(self, act: _Act[_Given], engine: Engine, says: str) -> _Given:
        since, told = None, False
        while True:
            try:
                with clear_errors(engine, but_gone=True), engine.begin() as connection:
                    given = act(connection, since is not None)
            except DBAPIError as lost:
                engine.dispose()
                since = since or time.monotonic()
                waited = time.monotonic() - since
                if waited > _patience(lost):
                    raise Unavailable(error_in_words(engine, lost)) from lost
                if waited > WAITING_SECONDS and not told:
                    told = True
                    self._say(WAITING)
                time.sleep(PAUSE_SECONDS)
                continue
            if since is not None:
                self._say(says)
            return given

    def _say(self, sentence: str) -> None:
        if self._tell is not None:
            self._tell(sentence)


def _patience(lost: DBAPIError) -> float:
    """How long a server is worth waiting for, by what its loss looks like."""
    said = str(lost.orig).lower()
    if "the database system is" in said:  # starting up, recovering, shutting down
        return STARTING_SECONDS
    return SILENT_SECONDS if "no answer" in said or "timeout" in said else RETURN_SECONDS


def wait_for(engine: Engine, patience: float) -> None:
    """Wait until a server answers, ``patience`` seconds at most; whether it does is not said.

    >>> from diagnose.store.engine import make_engine
    >>> wait_for(make_engine("sqlite://"), 1.0)
    """
    if engine.dialect.name == "sqlite":
        return
    until = time.monotonic() + patience
    while time.monotonic() < until:
        try:
            with engine.connect():
                return
        except DBAPIError as error:
            if not is_gone(engine, error):
                return
            time.sleep(PAUSE_SECONDS)
