"""What an answer may take, and which runs to leave out when it would take more."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from diagnose.errors import OverBudget, TooManyRuns
from diagnose.inference import budget
from diagnose.observations.case import Case
from diagnose.observations.events import Run
from diagnose.observations.result import Result
from diagnose.observations.rows import ranges

POSTERIOR = 400e6
"""Table entries that the posterior of one case may take: about 2 seconds on one core."""

EASY = 120e6
"""What is left must be this easy when runs are left out, with the first act: about 1 second."""


def too_many(case: Case, worked_out: Callable[[Case], object]) -> TooManyRuns:
    """The error that names the fewest runs to leave out.

    ``worked_out`` works out what was wanted of a case. Raises `OverBudget` where it cannot.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> case = read_typed(load_machine("mounted-6"), ["response=PPPPPF"] * 4)
    >>> def two_at_most(case: Case) -> None:
    ...     budget.spend(EASY / 2 * sum("F" in run.pattern for run in case.runs))
    >>> print(too_many(case, two_at_most))
    4 failing runs are too many to work out together; leave out response runs 1–2 and try again
    >>> def never(case: Case) -> None:
    ...     raise OverBudget
    >>> print(too_many(case, never))
    4 failing runs are too many to work out together; leave out some of them, the oldest first, \
and try again
    """
    failing = [run for run in case.runs if run.rows_with(Result.FAIL)]
    chosen = _fewest(_spared(failing), case, worked_out)
    every = f"{len(failing)} failing runs are too many to work out together"
    which = _in_words(chosen) or "some of them, the oldest first,"
    return TooManyRuns(f"{every}; leave out {which} and try again", [run.index for run in chosen])


def sharper(case: Case) -> str:
    """What would narrow the limits of chances that are not exact.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> print(sharper(read_typed(load_machine("mounted-6"), ["response=PPPPPF"] * 4)))
    there are too many failing runs to work out exactly, so chances have limits; without response \
runs 1–3 these would be closer
    """
    failing = [run for run in case.runs if run.rows_with(Result.FAIL)]
    chosen = sorted(_spared(failing)[: 3 * len(failing) // 4], key=lambda run: run.index)
    which = _in_words(chosen) or "some of them"
    return (
        "there are too many failing runs to work out exactly, so chances have limits; "
        f"without {which} these would be closer"
    )


def without(case: Case, runs: Sequence[Run]) -> Case:
    """The case as it would be without the results of some runs; the others keep their numbers.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> case = read_typed(load_machine("mounted-6"), ["bleed=PPPPPF", "response=PPPPPF"])
    >>> [run.pattern for run in without(case, case.runs[:1]).runs]
    ['......', 'PPPPPF']
    """
    gone = {run.index for run in runs}
    kept = (
        replace(run, results=(Result.NOT_RUN,) * len(run.results)) if run.index in gone else run
        for run in case.runs
    )
    return replace(case, runs=tuple(kept))


def _spared(failing: Sequence[Run]) -> list[Run]:
    """Failing runs in the order in which they can be spared; the last one cannot.

    First those that were made again since, on all their failing rows and with no work between;
    then those made again after work; then the others.
    """

    def place(run: Run) -> tuple[int, int]:
        later = [each for each in failing if each.check == run.check and each.index > run.index]
        again = {row for each in later for row in _checked(each)}
        same = {row for each in later if each.epoch == run.epoch for row in _checked(each)}
        rows = set(run.rows_with(Result.FAIL))
        return (0 if rows <= same else 1 if rows <= again else 2), run.index

    return sorted(failing[:-1], key=place)


def _checked(run: Run) -> tuple[int, ...]:
    return (*run.rows_with(Result.PASS), *run.rows_with(Result.FAIL))


def _fewest(spared: Sequence[Run], case: Case, worked_out: Callable[[Case], object]) -> list[Run]:
    """The fewest of the runs, from the first on, without which the rest can be worked out.

    Few runs are quick to try, so one is kept at first, then twice as many, then halves between.
    """

    def fits(kept: int, entries: float) -> bool:
        try:
            with budget.within(entries):
                worked_out(without(case, spared[: len(spared) - kept]))
        except OverBudget:
            return False
        return True

    if not fits(0, 2 * POSTERIOR):
        return []
    kept, beyond = 0, len(spared) + 1
    while beyond - kept > 1:
        tried = min(2 * kept + 1, (kept + beyond) // 2)
        kept, beyond = (tried, beyond) if fits(tried, EASY) else (kept, tried)
    return sorted(spared[: len(spared) - kept], key=lambda run: run.index)


def _in_words(runs: Sequence[Run]) -> str:
    """Runs by check, for a sentence.

    >>> runs = [Run(n, check, ()) for n, check in enumerate(["bleed", "response", "bleed"], 1)]
    >>> _in_words(runs), _in_words(runs[:1])
    ('bleed runs 1 and 3 and response run 2', 'bleed run 1')
    """
    told = []
    for check in dict.fromkeys(run.check for run in runs):
        pieces = ranges([run.index for run in runs if run.check == check]).split(",")
        some = ", ".join(pieces[:-1]) + " and " * (len(pieces) > 1) + pieces[-1]
        told.append(f"{check} run{'s' * (not some.isdigit())} {some.replace('-', '–')}")
    return " and ".join(told)
