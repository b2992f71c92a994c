"""What one row showed in one run."""

from __future__ import annotations

from enum import Enum


class Result(Enum):
    """What one row showed in one run."""

    PASS = "P"
    FAIL = "F"
    UNSURE = "?"
    NOT_RUN = "."


_BY_LETTER = {result.value: result for result in Result}


def results_of(pattern: str) -> tuple[Result, ...]:
    """The results that letters stand for, row 1 first. Raises `KeyError` for any other letter.

    >>> [result.name for result in results_of("PF.")]
    ['PASS', 'FAIL', 'NOT_RUN']
    """
    return tuple(_BY_LETTER[letter] for letter in pattern)


def pattern_of(results: tuple[Result, ...]) -> str:
    """The results as one letter per row.

    >>> pattern_of((Result.PASS, Result.UNSURE))
    'P?'
    """
    return "".join(result.value for result in results)
