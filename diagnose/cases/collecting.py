"""Gather every problem of one input before complaining, and not only the first."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from diagnose.errors import FileProblems, InputError, Problem


@contextmanager
def collected(problems: list[Problem]) -> Iterator[None]:
    """Run the block; what it raises about its input is added to ``problems`` instead.

    >>> from diagnose.errors import Place
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


def refuse(problems: list[Problem]) -> None:
    """Raise everything that was collected, once, as `FileProblems`; do nothing if all is well."""
    if problems:
        raise FileProblems(list(dict.fromkeys(problems)))
