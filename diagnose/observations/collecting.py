"""Gather every problem of one input before complaining, and not only the first."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from diagnose.errors import FileProblems, InputError, Place, Problem
from diagnose.formats.value_problem import Wrong
from diagnose.tolerances import MOST_TOLD


@contextmanager
def collected(problems: list[Problem]) -> Iterator[None]:
    """Run the block; what it raises about its input is added to ``problems`` instead.

    >>> problems: list[Problem] = []
    >>> with collected(problems):
    ...     raise InputError(Problem(Place("argument 1"), "a row", "'x'"))
    >>> [str(problem) for problem in problems]
    ["argument 1: expected a row, got 'x'"]
    """
    try:
        yield
    except FileProblems as error:
        problems.extend(error.problems)
    except InputError as error:
        problems.append(error.problem)


@contextmanager
def located(where: Place) -> Iterator[None]:
    """Run the block; a `Wrong` value in it becomes an `InputError` at this place.

    >>> with located(Place("oil=hot")):
    ...     raise Wrong("a temperature", "'hot'")
    Traceback (most recent call last):
    diagnose.errors.InputError: oil=hot: expected a temperature, got 'hot'
    """
    try:
        yield
    except Wrong as wrong:
        raise InputError(wrong.at(where)) from wrong


def refuse(problems: list[Problem]) -> None:
    """Raise everything that was collected, once, as `FileProblems`; do nothing if all is well.

    >>> refuse([])
    >>> refuse([Problem(Place("row"), "a row", "'x'")])
    Traceback (most recent call last):
    diagnose.errors.FileProblems: row: expected a row, got 'x'
    """
    if problems:
        raise FileProblems(list(dict.fromkeys(problems)))


@dataclass
class ProblemLog:
    """Problems of a long file: the first few of each kind are told, the others only counted.

    >>> told, wrong = ProblemLog(), Problem(Place("log.csv", 2), "a row", "x")
    >>> for line in range(2, 9):
    ...     told.add("a row", Place("log.csv", line), lambda: wrong)
    >>> len(told.problems) == MOST_TOLD, told.all()[-1].got
    (True, '2 more of this kind, the last in line 8')
    """

    problems: list[Problem] = field(default_factory=list)
    more: dict[str, _More] = field(default_factory=dict)

    def add(self, kind: str, where: Place, say: Callable[[], Problem]) -> None:
        """One more problem of a kind at a place; ``say`` is called only if it is to be told."""
        more = self.more.setdefault(kind, _More())
        more.seen += 1
        if more.seen <= MOST_TOLD:
            self.problems.append(say())
            return
        more.first, more.last = more.first or where, where

    def all(self) -> list[Problem]:
        """What was told, then for each kind how many more there were."""
        counted = (more.problem(kind) for kind, more in self.more.items() if more.first)
        return [*self.problems, *counted]


@dataclass
class _More:
    """How many problems of a kind there were, and where the first and last untold ones stood."""

    seen: int = 0
    first: Place | None = None
    last: Place | None = None

    def problem(self, kind: str) -> Problem:
        assert self.first is not None
        assert self.last is not None
        got = f"{self.seen - MOST_TOLD:,} more of this kind, the last in line {self.last.line}"
        return Problem(self.first, kind, got, "correct those above first")
