"""To hand a case over: to whom, and why."""

from __future__ import annotations

import re
from collections.abc import Sequence

from diagnose.errors import quoted
from diagnose.knowledge.wrong import Wrong
from diagnose.observations.entries import HandedOver, Statement
from diagnose.observations.forms import spoken
from diagnose.work.question import Question

NO_NAMES = ("yes", "y", "no", "n", "done", "none", "?")

BOTH = re.compile(r"(?:to\s+)?(?P<to>[^:]{1,80}):\s*(?P<why>\S.*)", re.IGNORECASE | re.DOTALL)
ONLY_WHOM = re.compile(r"to\s+(?P<to>[^:]{1,80}?):?\s*", re.IGNORECASE)


def hand_over(rest: str) -> HandedOver | Question:
    """What follows the words hand over: all of it, or the question for what is left out.

    >>> hand_over("to Ben: it is late")
    HandedOver(to='Ben', why='it is late')
    >>> [hand_over(rest).asks for rest in ("it is late", "to Ben", "")]
    ['To whom?', 'Why?', 'To whom?']
    """
    both, only = BOTH.fullmatch(rest), ONLY_WHOM.fullmatch(rest)
    if both:
        return HandedOver(to=named(both["to"]), why=spoken(both["why"]))
    return why_to(named(only["to"])) if only else to_whom(rest)


def to_whom(because: str = "") -> Question:
    """To whom; and why, unless that was said.

    >>> to_whom("it is late").read("Ben")
    [HandedOver(to='Ben', why='it is late')]
    >>> to_whom().leads_to("Ben").asks
    'Why?'
    """

    def read(text: str) -> Sequence[Statement]:
        return [HandedOver(to=named(text), why=spoken(because))]

    leads_to = None if because else lambda text: why_to(named(text))
    return Question("To whom?", "a name; Enter to go back", read, leads_to=leads_to)


def why_to(to: str, kept: str = "") -> Question:
    """Why the case goes to somebody; ``kept`` is the reason when none is typed.

    >>> why_to("Ben", "no meter here").read("")
    [HandedOver(to='Ben', why='no meter here')]
    """

    def read(text: str) -> Sequence[Statement]:
        return [HandedOver(to=to, why=spoken(text.strip() or kept))]

    return Question("Why?", "a few words", read, kept=kept)


def named(text: str) -> str:
    """Who goes on, by name. Raises `Wrong`.

    >>> named(" Ben ")
    'Ben'
    >>> named("yes")
    Traceback (most recent call last):
    diagnose.knowledge.wrong.Wrong: expected the name of the person who goes on, got 'yes'
    """
    name = spoken(text.strip())
    if not name or name.lower() in NO_NAMES:
        raise Wrong(got=quoted(text.strip()), expected="the name of the person who goes on")
    return name
