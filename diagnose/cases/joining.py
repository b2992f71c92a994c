"""Two parts of one story, one after the other."""

from __future__ import annotations

from dataclasses import replace

from diagnose.cases.case import Case


def joined(first: Case, then: Case) -> Case:
    """One case with the runs and readings of both, in order; what ``then`` says of the past wins.

    Runs are counted anew from 1.

    >>> from diagnose.cases.case import Result, Run
    >>> one = Case("small", (Run(1, "bleed", (Result.PASS,)),))
    >>> [run.index for run in joined(one, one).runs]
    [1, 2]
    """
    runs = [*first.runs, *then.runs]
    return Case(
        first.machine,
        tuple(replace(run, index=index) for index, run in enumerate(runs, start=1)),
        (*first.readings, *then.readings),
        {**first.history, **then.history},
    )
