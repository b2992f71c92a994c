"""What work leaves to be checked: which checks it may have touched, which rows are to be bled."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from diagnose.diagnosis.epochs import moved_modes
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import Remedy, Swap
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.events import Remedied, Run, Swapped, Work
from diagnose.observations.result import Result

LINE = "line"
"""What work opens that lets air in; a coupler seals itself."""


def done_by(machine: Machine, work: Work) -> Remedy | Swap:
    """The remedy or swap that a piece of work was.

    >>> from diagnose.machine.graph import load_machine
    >>> done_by(load_machine("mounted-6"), Remedied("replace-coil", "row-6/valve")).minutes
    15.0
    """
    kind = machine.parts[work.part]
    return kind.swap(work.swap) if isinstance(work, Swapped) else kind.remedy(work.remedy)


def checks_touched(machine: Machine, knowledge: Knowledge, work: Work) -> frozenset[str]:
    """The checks whose result a piece of work may have changed.

    Those that show a fault that it may have cleared or moved; where it opened a line, every check
    that oil goes through.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> machine, known = load_machine("mounted-6"), load_knowledge()
    >>> for remedy in ("replace-coil", "replace-valve"):
    ...     print(sorted(checks_touched(machine, known, Remedied(remedy, "row-6/valve"))))
    ['response']
    ['bleed', 'response']
    """
    if isinstance(work, Swapped):
        swap = machine.parts[work.part].swap(work.swap)
        moved = moved_modes(machine, work.part, swap)
        modes = [machine.parts[part].mode(mode) for part, mode in moved]
    else:
        modes = list(machine.parts[work.part].cleared_by(work.remedy))
    oil = {one.id for one in knowledge.checks.values() if "oil" in one.exercises}
    opened = oil if done_by(machine, work).opens == LINE else set()
    return frozenset(check for mode in modes for check in mode.shows) | opened


def unbled(machine: Machine, knowledge: Knowledge, case: Case) -> Mapping[int, frozenset[int]]:
    """By the number of each run, and of the one that is next, the rows to be bled before it.

    Their oil was opened, and no bleed has gone through them since.

    >>> from diagnose import load_machine, read_typed
    >>> from diagnose.knowledge.base import load_knowledge
    >>> machine = load_machine("mounted-6")
    >>> told = ["response=PPPPPF", "swap-valve@row-6=row-5", "response=....PF", "bleed=....PP"]
    >>> found = unbled(machine, load_knowledge(), read_typed(machine, told))
    >>> {run: sorted(rows) for run, rows in found.items()}
    {1: [], 2: [5, 6], 3: [5, 6], 4: []}
    """
    rows: frozenset[int] = frozenset()
    found: dict[int, frozenset[int]] = {}
    for done in case.in_order():
        if isinstance(done, Run):
            found[done.index] = rows
            if knowledge.checks[done.check].clears_air:
                rows -= _run_rows(done)
        elif isinstance(done, Remedied | Swapped):
            rows = _after(machine, knowledge, done, rows)
    return {**found, len(case.runs) + 1: rows}


def _run_rows(run: Run) -> frozenset[int]:
    left_out = set(run.rows_with(Result.NOT_RUN))
    return frozenset(row for row in range(1, len(run.results) + 1) if row not in left_out)


def _after(
    machine: Machine, knowledge: Knowledge, work: Work, rows: frozenset[int]
) -> frozenset[int]:
    """The rows to be bled after some work: bleeding as a remedy frees those that it reaches."""
    done = done_by(machine, work)
    if done.opens == LINE:
        return rows | rows_of(machine, work)
    bleeding = {check.setup for check in knowledge.checks.values() if check.clears_air}
    return rows - rows_of(machine, work) if done.setup in bleeding else rows


def rows_of(machine: Machine, work: Work) -> frozenset[int]:
    """The rows that depend on what was worked on.

    >>> from diagnose.machine.graph import load_machine
    >>> swap = Swapped("swap-coil", "row-6/valve", "row-5/valve")
    >>> sorted(rows_of(load_machine("mounted-6"), swap))
    [5, 6]
    """
    parts: Iterable[str] = (work.part, work.other) if isinstance(work, Swapped) else (work.part,)
    return frozenset(row for part in parts for row in machine.rows_of(part))
