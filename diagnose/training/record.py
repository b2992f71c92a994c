"""What is kept of a drill that somebody finished: what came up and what was done, not the truth."""

from __future__ import annotations

from dataclasses import field
from datetime import UTC, datetime
from uuid import uuid4

from diagnose.record import record


@record
class Opportunity:
    """A moment at which a skill counted; ``move`` counts from 1."""

    skill: str
    move: int
    taken: bool


@record
class Finished:
    """One drill from beginning to end, as its player's record has it.

    Parameters
    ----------
    who: who played; may be empty.
    code: the drill as one line, from which nobody can read what it hid.
    minutes: of work.
    right: whether exactly what was hidden was declared; never when it was given up.
    at: when it ended (UTC).
    """

    who: str
    code: str
    machine: str
    level: int
    marks: int
    minutes: float
    right: bool
    opportunities: tuple[Opportunity, ...]
    at: datetime = field(default_factory=lambda: datetime.now(UTC))
    id: str = field(default_factory=lambda: uuid4().hex)
