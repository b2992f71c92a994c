"""When two people tell of the same thing, and what comes of it when they do not agree."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import replace
from typing import Any

from diagnose.observations.entries import Answered, Correction, HandedOver, Statement, What
from diagnose.observations.events import Circumstances, History, Reading, Remedied, Run, Swapped
from diagnose.observations.result import results_of

NOT_RUN, UNSURE = ".", "?"

NOUNS: Mapping[str, str] = {
    "run": "run",
    "reading": "reading",
    "remedy": "repair",
    "swap": "swap",
    "circumstances": "set-up",
    "history": "answer",
    "answer": "answer",
    "correction": "correction",
    "hand-over": "hand-over",
}
"""What a thing told is called when it is asked about."""

MAY_BE_TWO = (Run, Reading, Remedied, Swapped)
"""What can be done twice, so that somebody has to say whether it was."""


def alike(mine: What, other: What | None) -> bool:
    """Whether two things told may be of the very same run, reading or work, or are of one matter.

    >>> first, second = (Run.of("bleed", p) for p in ("PPPF..", "....FP"))
    >>> alike(first, first), alike(first, second)
    (True, False)
    """
    matter = MATTERS.get(type(mine))
    if matter is None or type(mine) is not type(other) or matter(mine) != matter(other):
        return False
    if isinstance(mine, Run) and isinstance(other, Run):
        pairs = zip(mine.pattern, other.pattern, strict=False)
        return any(NOT_RUN not in pair for pair in pairs)
    return True


MATTERS: Mapping[type, Callable[[Any], Hashable]] = {
    Run: lambda run: run.check,
    Reading: lambda reading: (reading.measurement, reading.part),
    Remedied: lambda work: (work.remedy, work.part),
    Swapped: lambda swap: (swap.swap, frozenset((swap.part, swap.other))),
    History: lambda past: frozenset(past.values),
    Answered: lambda answer: (answer.run, answer.circumstance),
    Correction: lambda correction: correction.event,
    HandedOver: lambda _: "",
}
"""What a thing told is about, for what can be told twice."""


def agree(mine: What, other: What) -> bool:
    """Whether two things told of the same matter say the same, as far as both say something.

    >>> one, two, three = (Run.of("bleed", p) for p in ("PF?", "PFP", "FFP"))
    >>> agree(one, two), agree(two, three)
    (True, False)
    """
    match mine, other:
        case Run(), Run():
            pairs = zip(mine.pattern, other.pattern, strict=False)
            return all(len({*pair} - {NOT_RUN, UNSURE}) < 2 for pair in pairs)
        case Reading(), Reading():
            return mine.value == other.value
        case Correction(), Correction():
            return mine.instead == other.instead
        case ((Remedied() | Swapped()), _):
            return True
        case _:
            return mine == other


def joined(mine: What, other: What, differing: str) -> Statement | None:
    """What counts for both: one run with what each of them saw; None when it is as the other said.

    ``differing`` says what counts where they do not agree: ``mine``, ``theirs`` or ``?``.

    >>> one, two = (Run.of("bleed", p) for p in ("PF..", "PPF."))
    >>> [joined(one, two, each).pattern for each in ("mine", "?")], joined(one, two, "theirs")
    (['PFF.', 'P?F.'], None)
    """
    if isinstance(mine, Run) and isinstance(other, Run):
        letters = zip(mine.pattern, other.pattern, strict=True)
        pattern = "".join(_letter(own, theirs, differing) for own, theirs in letters)
        known = {**mine.circumstances, **other.circumstances}
        both = replace(mine, results=results_of(pattern), circumstances=known)
        return None if both == other else both
    if isinstance(mine, Reading) and differing == "mine":
        return mine
    return None


def _letter(own: str, theirs: str, differing: str) -> str:
    for blank in (NOT_RUN, UNSURE):
        if own == theirs or blank in (own, theirs):
            return theirs if own == blank else own
    return {"mine": own, "theirs": theirs}.get(differing, UNSURE)


def order_matters(mine: What, other: What | None) -> bool:
    """Whether somebody has to say which of two things was done first.

    >>> run, swap = Run.of("bleed", "P"), Remedied("bleed", "row-1/valve")
    >>> order_matters(run, swap), order_matters(swap, run), order_matters(run, run)
    (True, True, False)
    """
    work, seen = (Remedied, Swapped), (Run, Reading)
    if isinstance(mine, work):
        return isinstance(other, (*work, *seen))
    if isinstance(mine, Circumstances | Run) and isinstance(other, Circumstances):
        said = mine.values if isinstance(mine, Circumstances) else mine.circumstances
        return any(name in said and said[name] != value for name, value in other.values.items())
    return isinstance(mine, seen) and isinstance(other, work)
