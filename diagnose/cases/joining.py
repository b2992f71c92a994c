"""Two parts of one story, one after the other."""

from __future__ import annotations

from dataclasses import replace

from diagnose.cases.case import Case


def joined(first: Case, then: Case) -> Case:
    """One case with what both tell, in order; what ``then`` says of the past wins.

    Runs are counted anew from 1.

    >>> from diagnose.cases.case import Result, Run
    >>> one = Case("small", (Run(1, "bleed", (Result.PASS,)),))
    >>> [run.index for run in joined(one, one).runs]
    [1, 2]
    """
    done = len(first.work)
    runs = [*first.runs, *(replace(run, epoch=run.epoch + done) for run in then.runs)]
    readings = (replace(reading, epoch=reading.epoch + done) for reading in then.readings)
    return Case(
        first.machine,
        tuple(replace(run, index=index) for index, run in enumerate(runs, start=1)),
        (*first.readings, *readings),
        {**first.history, **then.history},
        (*first.work, *then.work),
    )
