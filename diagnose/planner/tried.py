"""What was tried for a row that failed, in vain."""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.diagnosis.evidence import Evidence
from diagnose.observations.events import Remedied
from diagnose.observations.result import Result
from diagnose.tolerances import ALL_IN_VAIN, DIFFERENT_IN_VAIN


def tried_enough(evidence: Evidence, rows: Iterable[int]) -> tuple[int, int] | None:
    """The row of some for which most was tried in vain, and how much, when it is enough.

    >>> from diagnose import load_machine, rank, read_typed
    >>> again = ["bleed-again@row-6/air=done", "bleed=.....F"]
    >>> for times in ALL_IN_VAIN - 1, ALL_IN_VAIN:
    ...     told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPF", *again * times])
    ...     print(tried_enough(rank(load_machine("mounted-6"), told).evidence, [5, 6]))
    None
    (6, 7)
    """
    tried = {row: tried_in_vain(evidence, row) for row in rows}
    most = max(tried, key=lambda row: (len(set(tried[row])) >= DIFFERENT_IN_VAIN, len(tried[row])))
    enough = len(set(tried[most])) >= DIFFERENT_IN_VAIN or len(tried[most]) >= ALL_IN_VAIN
    return (most, len(tried[most])) if enough else None


def tried_in_vain(evidence: Evidence, row: int) -> tuple[str, ...]:
    """The remedies after each of which a row failed again, in the order of the work.

    It counts what could have cured the failure: the row had failed a check that the remedy can
    make well there, and it failed the next one. Tests and swaps are no remedies, and a check that
    is only run again tries nothing.

    >>> from diagnose import load_machine, rank, read_typed
    >>> typed = ["response=PPPPPF", "response=.....F", "replace-coil@row-6=done", "response=....PF"]
    >>> told = read_typed(load_machine("mounted-6"), [*typed, "replace-coil@row-5=done"])
    >>> [tried_in_vain(rank(load_machine("mounted-6"), told).evidence, row) for row in (5, 6)]
    [(), ('replace-coil@row-6/valve',)]
    """
    work = enumerate(evidence.case.work, start=1)
    return tuple(
        done.id
        for epoch, done in work
        if isinstance(done, Remedied)
        and any(
            _failed_on(evidence, check, row, epoch) and _reaches(evidence, done, check, row)
            for check in evidence.model.knowledge.checks
        )
    )


def _failed_on(evidence: Evidence, check: str, row: int, epoch: int) -> bool:
    """Whether a row failed a check in the last run before an epoch and in the first from it on."""
    told = (Result.PASS, Result.FAIL)
    runs = [run for run in evidence.case.runs if run.check == check]
    runs = [run for run in runs if run.results[row - 1] in told]
    before = [run.results[row - 1] for run in runs if run.epoch < epoch]
    after = [run.results[row - 1] for run in runs if run.epoch >= epoch]
    return before[-1:] == after[:1] == [Result.FAIL]


def _reaches(evidence: Evidence, work: Remedied, check: str, row: int) -> bool:
    """Whether a remedy clears anything that can make a row fail a check."""
    model = evidence.model
    cleared = model.machine.parts[work.part].cleared_by(work.remedy)
    fails = set(model.check_entries(check, row)[0].tolist())
    return any(model.flat(work.part, mode.id) in fails for mode in cleared)
