"""Rows whose result changed between two runs of the same check."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from diagnose.machine.graph import Machine
from diagnose.observations.events import Run, Swapped, Work
from diagnose.observations.result import Result
from diagnose.reasoning.finding import Fact
from diagnose.reasoning.vocabulary import fact

_SAME = 5.0
_SAME_SHARE = 0.1
"""Numbers noted for two runs are the same within 5 degrees or bar, or a tenth; judgement."""


def change_facts(runs: Sequence[Run], touched: Sequence[frozenset[int]] = ()) -> Iterator[Fact]:
    """A fact for each row whose result differs from the one it had in the same check before.

    ``touched`` are the rows that each piece of work may have changed: no wonder that these differ
    afterwards.

    >>> runs = [Run(1, "bleed", (Result.FAIL,)), Run(2, "bleed", (Result.PASS,))]
    >>> next(change_facts(runs)).values["first"]
    'fail'
    """
    numbered = {run.index: run for run in runs}
    before: dict[tuple[str, int], Run] = {}
    for run in runs:
        known = [
            (row, result)
            for row, result in enumerate(run.results, start=1)
            if result in (Result.PASS, Result.FAIL)
        ]
        changed: dict[tuple[int, bool], list[int]] = {}
        for row, result in known:
            earlier = before.get((run.check, row))
            if earlier and worked_on([row], touched, earlier.epoch, run.epoch):
                earlier = None
            if earlier and earlier.results[row - 1] is not result:
                changed.setdefault((earlier.index, result is Result.FAIL), []).append(row)
            before[run.check, row] = run
        for (index, failed_now), rows in changed.items():
            yield from _change_facts(run, numbered[index], rows, failed_now)


def worked_on(rows: Iterable[int], touched: Sequence[frozenset[int]], one: int, other: int) -> bool:
    """Whether work between two epochs, in either order, may have changed any of some rows.

    >>> worked_on([6], [frozenset({6})], 1, 0), worked_on([6], [frozenset({6})], 1, 1)
    (True, False)
    """
    wanted = frozenset(rows)
    return any(not wanted.isdisjoint(done) for done in touched[min(one, other) : max(one, other)])


def rows_touched(machine: Machine, work: Sequence[Work]) -> tuple[frozenset[int], ...]:
    """The rows that each piece of work may have changed: those that depend on what was worked on.

    >>> from diagnose.observations.events import Swapped
    >>> from diagnose.machine.graph import load_machine
    >>> swap = Swapped("swap-coil", "row-6/valve", "row-5/valve")
    >>> sorted(rows_touched(load_machine("mounted-6"), [swap])[0])
    [5, 6]
    """
    parts = [(w.part, w.other) if isinstance(w, Swapped) else (w.part,) for w in work]
    return tuple(frozenset(row for p in each for row in machine.rows_of(p)) for each in parts)


def _change_facts(run: Run, earlier: Run, rows: Sequence[int], failed_now: bool) -> Iterator[Fact]:
    for row in rows:
        yield fact(
            "changed",
            check=run.check,
            row=row,
            passed_run=earlier.index if failed_now else run.index,
            failed_run=run.index if failed_now else earlier.index,
            first="pass" if failed_now else "fail",
            rows=len(rows),
            lowest="yes" if row == rows[0] else "no",
            alike="yes" if _alike(run, earlier) else "no",
        )


def _alike(one: Run, other: Run) -> bool:
    """Whether nothing that was noted for both runs differs."""
    return all(
        _same(one.circumstances[name], other.circumstances[name])
        for name in one.circumstances.keys() & other.circumstances.keys()
    )


def _same(one: float | str, other: float | str) -> bool:
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    return abs(one - other) <= max(_SAME, _SAME_SHARE * max(abs(one), abs(other)))
