"""Gather every problem of one input before complaining, and not only the first."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from diagnose.errors import FileProblems, InputError, Place, Problem
from diagnose.knowledge.wrong import Wrong


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
