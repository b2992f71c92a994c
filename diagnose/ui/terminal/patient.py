"""When the database does not answer, or others were quicker: the person at the prompt decides."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from diagnose.errors import Unavailable
from diagnose.formats.value_problem import Wrong
from diagnose.observations.entries import Event
from diagnose.observations.state import Counted
from diagnose.projection import Projection
from diagnose.session.answers import Answer
from diagnose.session.overtaken import Doubt
from diagnose.session.scratch import Keeper
from diagnose.ui.terminal.asking import Asker, unattended
from diagnose.ui.terminal.bench import Bench

_Kept = TypeVar("_Kept")


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

    def _tried(self, act: Callable[[], _Kept]) -> _Kept:
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


Show = Callable[[Sequence[Event]], Projection]
"""Shows what others told, and gives the case with it."""


class Settling:
    """The person at the prompt, as somebody who can say what is in doubt about an answer."""

    def __init__(self, bench: Bench, asker: Asker, show: Show) -> None:
        self.bench, self.asker, self.show = bench, asker, show
        self.view: Projection | None = None

    def shown(self, others: Sequence[Counted]) -> None:
        """See what others told meanwhile. Raises `Overtaken` where nobody can be asked."""
        self.view = self.show([each.event for each in others])

    def settled(self, doubt: Doubt) -> Answer:
        """Say what is in doubt. Raises `GaveUp` when the person stops."""
        assert self.view is not None
        self.bench.doubt(self.view, doubt)
        while True:
            line = self.asker.line()
            if line is None or line.strip().lower() == "quit":
                raise GaveUp
            try:
                return doubt.read(line)
            except Wrong as wrong:
                self.bench.complain(wrong, None)
                self.bench.ask_again(doubt.asks, doubt.form)
