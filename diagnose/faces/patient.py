"""A keeper for a conversation: when the database does not answer, the person says when to try."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from diagnose.errors import Unavailable
from diagnose.faces.asking import Asker, unattended
from diagnose.faces.bench import Bench
from diagnose.story.event import Event
from diagnose.work.keeping import Keeper

Kept = TypeVar("Kept")


class GaveUp(Exception):
    """Somebody stopped before what was typed could be kept."""


class Patient:
    """Hands everything on to a keeper, as often as somebody wants to try.

    ``line`` is what was typed and is on its way. Raises `GaveUp` when the person stops, and
    `Unavailable` where nobody can be asked.
    """

    def __init__(self, keeper: Keeper, bench: Bench, asker: Asker) -> None:
        self.keeper, self.bench, self.asker = keeper, bench, asker
        self.line = ""

    def begin(self, opening: Event) -> None:
        """A new case, by its first event."""
        self.keeper.begin(opening)

    def add(self, case: str, *told: Event, seen: str | None = None) -> None:
        """Events of a case; safe when this returns. What got there before is not added again."""
        self._tried(lambda: self.keeper.add(case, *told, seen=seen))

    def events(self, case: str) -> tuple[Event, ...]:
        """All events of a case."""
        return self._tried(lambda: self.keeper.events(case))

    def _tried(self, act: Callable[[], Kept]) -> Kept:
        while True:
            try:
                return act()
            except Unavailable as error:
                if unattended(self.asker):
                    raise
                self._wait(error)

    def _wait(self, error: Unavailable) -> None:
        waiting = f"Your answer {self.line!r} is not lost. " if self.line else ""
        self.bench.say(str(error), "caution")
        self.bench.say(f"{waiting}Press Enter to try again, or type quit")
        while (typed := self.asker.line()) != "":
            if typed is None or typed.strip().lower() == "quit":
                raise GaveUp
            self.bench.say("Press Enter to try again, or type quit")
