"""What of a case the reasoning understands so far; the rest is refused, and never left out."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.errors import NotUnderstood, Place, Problem
from diagnose.observations.case import Case
from diagnose.observations.events import Reading, Run


def refuse_what_is_not_understood(case: Case) -> None:
    """Refuse a case that holds what no probability can be worked out from yet.

    Raises `NotUnderstood`, which says what is understood.

    >>> from dataclasses import replace
    >>> refuse_what_is_not_understood(Case("six").then(Run.of("bleed", "PPPPPF")))
    >>> morning = replace(Run.of("bleed", "PPPPPF"), session="morning")
    >>> refuse_what_is_not_understood(Case("six").then(morning))
    Traceback (most recent call last):
    diagnose.errors.NotUnderstood: run 1: expected a run that belongs to no session, got session \
'morning'; tell the run without its session
    """
    for problem in _problems(case):
        raise NotUnderstood(problem)


def _problems(case: Case) -> Iterator[Problem]:
    for run in case.runs:
        yield from _of_run(run)
    for reading in case.readings:
        if reading.circumstances:
            yield _of_reading(reading)


def _of_run(run: Run) -> Iterator[Problem]:
    where = Place(f"run {run.index}")
    if run.counts or run.alternatives:
        got = "a count" if run.counts else "one group of rows or another"
        remedy = "run the check again, and note each row by itself"
        yield Problem(where, "a mark for each row: P, F, ? or .", got, remedy)
    if run.session:
        got, remedy = f"session {run.session!r}", "tell the run without its session"
        yield Problem(where, "a run that belongs to no session", got, remedy)


def _of_reading(reading: Reading) -> Problem:
    where = Place(f"{reading.measurement}@{reading.part}")
    names = ", ".join(reading.circumstances)
    remedy = "tell the reading as its instructions want it taken, and without them"
    return Problem(where, "a reading without circumstances", names, remedy)
