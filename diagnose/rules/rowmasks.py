"""Results as sets of rows: one bit per row, so that counting is one operation.

>>> rows_in(mask_of((1, 3)))
(1, 3)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from diagnose.observations.events import Run
from diagnose.observations.result import Result
from diagnose.record import record


def mask_of(rows: Iterable[int]) -> int:
    """The rows (from 1) as bits.

    >>> mask_of((1, 3))
    10
    """
    mask = 0
    for row in rows:
        mask |= 1 << row
    return mask


def rows_in(mask: int) -> tuple[int, ...]:
    """The rows whose bits are set, in order.

    >>> rows_in(10)
    (1, 3)
    """
    return tuple(row for row in range(mask.bit_length()) if mask >> row & 1)


@record
class Tally:
    """Which rows passed, failed and were unsure in one run, or last time in one check."""

    passed: int = 0
    failed: int = 0
    unsure: int = 0

    @property
    def run(self) -> int:
        """The rows that were in the run.

        >>> rows_in(Tally(passed=mask_of((1,)), unsure=mask_of((3,))).run)
        (1, 3)
        """
        return self.passed | self.failed | self.unsure

    def without(self, rows: int) -> Tally:
        """The same with some rows (as bits) left out.

        >>> rows_in(Tally(passed=mask_of((1, 2))).without(mask_of((2,))).run)
        (1,)
        """
        return Tally(self.passed & ~rows, self.failed & ~rows, self.unsure & ~rows)

    def after(self, earlier: Tally) -> Tally:
        """What is known last of each row, when ``earlier`` came before.

        >>> now = Tally(passed=mask_of((1,))).after(Tally(failed=mask_of((1, 2))))
        >>> rows_in(now.passed), rows_in(now.failed)
        ((1,), (2,))
        """
        left = ~self.run
        return Tally(
            self.passed | earlier.passed & left,
            self.failed | earlier.failed & left,
            self.unsure | earlier.unsure & left,
        )

    def word(self, row: int, rows: int) -> str:
        """The result of one row as the vocabulary names it.

        >>> tally = Tally(passed=mask_of((1,)), failed=mask_of((2,)))
        >>> [tally.word(row, 3) for row in range(5)]
        ['no-row', 'pass', 'fail', 'not-run', 'no-row']
        """
        if not 1 <= row <= rows:
            return "no-row"
        masks = {"pass": self.passed, "fail": self.failed, "unsure": self.unsure}
        return next((word for word, mask in masks.items() if mask >> row & 1), "not-run")


def tally_of(run: Run) -> Tally:
    """One run's results.

    >>> tally = tally_of(Run(1, "bleed", (Result.PASS, Result.FAIL)))
    >>> rows_in(tally.passed), rows_in(tally.failed)
    ((1,), (2,))
    """
    return Tally(
        mask_of(run.rows_with(Result.PASS)),
        mask_of(run.rows_with(Result.FAIL)),
        mask_of(run.rows_with(Result.UNSURE)),
    )


def last_by_check(runs: Sequence[Run]) -> Mapping[str, Tally]:
    """The last known result of every row, by check.

    >>> runs = [Run(1, "bleed", (Result.FAIL, Result.PASS)), Run(2, "bleed", (Result.PASS,))]
    >>> rows_in(last_by_check(runs)["bleed"].passed)
    (1, 2)
    """
    last: dict[str, Tally] = {}
    for run in runs:
        last[run.check] = tally_of(run).after(last.get(run.check, Tally()))
    return last


def blocks(mask: int) -> int:
    """The number of unbroken stretches of rows.

    >>> blocks(mask_of((1, 2, 5)))
    2
    """
    return (mask & ~(mask << 1)).bit_count()
