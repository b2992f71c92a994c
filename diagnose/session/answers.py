"""A question that is put, and the answer that somebody gives to it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from diagnose.errors import on_one_line
from diagnose.observations.entries import Event, Noted, Statement, What, new_event
from diagnose.observations.forms import LONGEST_TEXT
from diagnose.observations.order import touch
from diagnose.planner.candidates import Candidate
from diagnose.record import record

AnswerReader = Callable[[str], Sequence[Statement]]
"""What an answer tells. Raises `Wrong`, `InputError` or `FileProblems`."""


@record
class Question:
    """One thing that is asked.

    Parameters
    ----------
    asks: the question.
    form: how to answer it, in short.
    read: what an answer tells.
    says: what is to be done first, if anything.
    because: why that, a line for each reason.
    needs, cautions: what it takes, and what to beware of.
    minutes: about how long it takes.
    act: the act of the plan that it is about; None where it cannot be skipped.
    check: the check that can be run anyway, though something is bad.
    words: whether ``read`` itself takes words such as engine=off.
    kept: what an empty answer stands for, in words; empty where an answer is needed.
    over: nothing more is asked: the case is closed.
    leads_to: the question that an answer leads to, where it tells nothing yet.
    """

    asks: str
    form: str
    read: AnswerReader
    says: str = ""
    because: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    minutes: float = 0.0
    act: Candidate | None = None
    check: str = ""
    words: bool = False
    kept: str = ""
    over: bool = False
    leads_to: Callable[[str], Question] | None = None


Pair = tuple[str, str]
"""An event of the answer, and one of somebody else."""


@record
class Answer:
    """What a line told, not kept yet.

    Parameters
    ----------
    events: what is to be added, as one.
    known: the last event of the case that the giver knows of by now.
    sooner: what others told meanwhile, and what came before it.
    apart: pairs of events that look alike and tell of different things.
    disputed: pairs that tell otherwise of the same thing, and it is not said which is right.
    """

    events: tuple[Event, ...]
    known: str
    sooner: frozenset[str] = frozenset()
    apart: frozenset[Pair] = frozenset()
    disputed: frozenset[Pair] = frozenset()

    @property
    def later(self) -> frozenset[str]:
        """What others told meanwhile, and what came after it."""
        return frozenset(id for event in self.events for id in event.before)

    @property
    def harmless(self) -> bool:
        """Whether it stands beside anything that others may tell.

        >>> answer = answered([Noted("hose chafed")], "A", None, None, 32 * "0")
        >>> answer.harmless
        True
        """
        return all(isinstance(event.what, Noted) for event in self.events)

    def with_event(self, event: Event) -> Answer:
        """The answer with an event in the place of that of the same id."""
        events = (event if event.id == each.id else each for each in self.events)
        return replace(self, events=tuple(events))

    def placed(self, sooner: Iterable[str], later: Sequence[str]) -> Answer:
        """The answer as made after some of what others told, and before the rest."""
        events = (_placed(event, later) for event in self.events)
        return replace(self, events=tuple(events), sooner=self.sooner | {*sooner})


def _placed(event: Event, later: Sequence[str]) -> Event:
    """The event before those that came later, when its place makes any difference."""
    own = touch(event.id, event.what)
    if event.same_as or not (own.takes or own.changes):
        return event
    before = tuple(dict.fromkeys((*event.before, *later)))
    return replace(event, before=before)


def answered(
    whats: Iterable[What], who: str, at: datetime | None, question: Question | None, seen: str
) -> Answer:
    """What somebody told who had seen a case up to an event, and was asked a question.

    >>> answer = answered([Noted("hose chafed")], "A", None, None, 32 * "0")
    >>> (event,) = answer.events
    >>> event.what.text, event.seen == answer.known, event.question
    ('hose chafed', True, None)
    """
    asked = _in_short(question) if question else None
    events = (replace(new_event(what, who, at), question=asked, seen=seen) for what in whats)
    return Answer(tuple(events), seen)


def _in_short(question: Question) -> str | None:
    """A question with what is to be done first, on one line.

    >>> _in_short(Question("Done?", "done", list, says="Replace the coil."))
    'Replace the coil. Done?'
    """
    words = f"{question.says} {question.asks}".strip()
    return on_one_line(words)[:LONGEST_TEXT] or None
