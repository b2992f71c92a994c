"""Ask the giver of an answer that others were quicker than about it, line by line."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from diagnose.faces.asking import Asker
from diagnose.faces.bench import Bench
from diagnose.faces.patient import GaveUp
from diagnose.knowledge.wrong import Wrong
from diagnose.story.event import Event
from diagnose.story.replay import Told
from diagnose.story.view import View
from diagnose.work.answer import Answer
from diagnose.work.overtaken import Doubt

Show = Callable[[Sequence[Event]], View]
"""Shows what others told, and gives the case with it."""


class Settling:
    """The person at the prompt, as somebody who can say what is in doubt about an answer."""

    def __init__(self, bench: Bench, asker: Asker, show: Show) -> None:
        self.bench, self.asker, self.show = bench, asker, show
        self.view: View | None = None

    def shown(self, others: Sequence[Told]) -> None:
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
