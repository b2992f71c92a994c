"""Rows of a case: which failed last, and how they are written."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.observations.case import Case
from diagnose.observations.result import Result

SOME = 3
"""So many rows of more that passed are named; further ones are counted."""


def failed_rows(case: Case) -> tuple[int, ...]:
    """Rows that failed in the last run of some check that they were in.

    >>> from diagnose.observations.events import Run
    >>> first = Run(1, "response", (Result.FAIL, Result.FAIL, Result.PASS))
    >>> again = Run(2, "response", (Result.FAIL, Result.PASS, Result.NOT_RUN))
    >>> failed_rows(Case("three", (first, again)))
    (1,)
    """
    return tuple(sorted({row for _, row in standing_failures(case)}))


def standing_failures(case: Case) -> dict[tuple[str, int], int]:
    """By check and row, the number of the run in which the row failed and has not passed since.

    >>> from diagnose.observations.events import Run
    >>> runs = (Run(1, "bleed", (Result.FAIL,)), Run(2, "response", (Result.PASS,)))
    >>> standing_failures(Case("one", runs))
    {('bleed', 1): 1}
    """
    last: dict[tuple[str, int], tuple[Result, int]] = {}
    for run in case.runs:
        for row, result in enumerate(run.results, start=1):
            if result in (Result.PASS, Result.FAIL):
                last[run.check, row] = (result, run.index)
    return {place: run for place, (result, run) in last.items() if result is Result.FAIL}


def ranges(rows: Sequence[int]) -> str:
    """Rows as the command line takes them.

    >>> ranges([5, 6, 7, 9])
    '5-7,9'
    """
    parts: list[list[int]] = []
    for row in sorted(rows):
        if parts and row == parts[-1][1] + 1:
            parts[-1][1] = row
        else:
            parts.append([row, row])
    return ",".join(str(a) if a == b else f"{a}-{b}" for a, b in parts)


def rows_in_words(rows: Sequence[int]) -> str:
    """Rows for a sentence.

    >>> rows_in_words([6]), rows_in_words([5, 6, 7]), rows_in_words([3, 12])
    ('row 6', 'rows 5–7', 'rows 3 and 12')
    """
    pieces = ranges(rows).replace("-", "–").split(",")
    joined = pieces[0] if len(pieces) == 1 else f"{', '.join(pieces[:-1])} and {pieces[-1]}"
    return f"row{'s' if len(rows) > 1 else ''} {joined}"


def pattern_in_words(pattern: str) -> str:
    """What a run showed, in words.

    >>> pattern_in_words("PPF?."), pattern_in_words("PP"), pattern_in_words("..")
    ('row 3 failed, row 4 unsure, 2 of 4 passed', 'all 2 passed', 'no row was run')
    >>> pattern_in_words("...P..")
    'row 4 passed'
    """
    rows = {mark: [n for n, seen in enumerate(pattern, 1) if seen == mark] for mark in "PF?"}
    tried = sum(map(len, rows.values()))
    if not tried:
        return "no row was run"
    if not rows["F"] and not rows["?"]:
        whole = tried == len(pattern) or tried > SOME
        return f"all {tried} passed" if whole else f"{rows_in_words(rows['P'])} passed"
    failed = [f"{rows_in_words(rows['F'])} failed"] if rows["F"] else []
    unsure = [f"{rows_in_words(rows['?'])} unsure"] if rows["?"] else []
    return ", ".join([*failed, *unsure, f"{len(rows['P'])} of {tried} passed"])
