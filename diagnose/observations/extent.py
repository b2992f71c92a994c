"""How much a case may hold, whichever way it was told."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.formats.value_problem import Wrong
from diagnose.observations.case import Case
from diagnose.tolerances import MOST_READINGS, MOST_RUNS, MOST_WORK

KEEP_RUNS = "keep the runs that belong to this trouble"
"""What to do when there are too many runs."""


def too_much(runs: int, readings: int, work: int) -> Iterator[Wrong]:
    """What a case of so many runs, readings, remedies and swaps has too many of.

    >>> list(too_much(40, 60, 12)), [str(wrong) for wrong in too_much(999, 0, 0)]
    ([], ['expected at most 100 runs in a case, got 999'])
    """
    if runs > MOST_RUNS:
        yield Wrong(f"at most {MOST_RUNS} runs in a case", f"{runs:,}", KEEP_RUNS)
    if readings > MOST_READINGS:
        remedy = "keep the last one of each part"
        yield Wrong(f"at most {MOST_READINGS} readings in a case", f"{readings:,}", remedy)
    if work > MOST_WORK:
        remedy = "begin a new case with what was done since the trouble began"
        yield Wrong(f"at most {MOST_WORK} remedies and swaps in a case", f"{work:,}", remedy)


def too_much_in(case: Case) -> Iterator[Wrong]:
    """The same for a case in hand.

    >>> list(too_much_in(Case("mounted-6")))
    []
    """
    yield from too_much(len(case.runs), len(case.readings), len(case.work))
