"""What happened at the planter: runs, readings and history, as plain values.

A `Case` holds only what was observed. What it means is worked out by later modules.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum


class Result(Enum):
    """What one row showed in one run."""

    PASS = "P"
    FAIL = "F"
    UNSURE = "?"
    NOT_RUN = "."


@dataclass(frozen=True)
class Run:
    """One execution of a check over chosen rows, under its circumstances.

    Parameters
    ----------
    index: place in the story, from 1.
    check: ``bleed`` or ``response``.
    results: one `Result` per row of the machine, row 1 first.
    circumstances: what is known about the run, by circumstance id: a choice such as ``"on"``,
        or a number in the unit of the circumstance (degrees Celsius, bar). Absent means unknown.

    >>> run = Run(1, "response", (Result.PASS, Result.FAIL, Result.NOT_RUN), {"oil": 54.0})
    >>> run.pattern, run.rows_with(Result.FAIL)
    ('PF.', (2,))
    """

    index: int
    check: str
    results: tuple[Result, ...]
    circumstances: Mapping[str, float | str] = field(default_factory=dict)

    @property
    def pattern(self) -> str:
        """The results as one letter per row, in row order.

        >>> Run(1, "bleed", (Result.PASS, Result.UNSURE)).pattern
        'P?'
        """
        return "".join(result.value for result in self.results)

    def rows_with(self, result: Result) -> tuple[int, ...]:
        """The rows (from 1) that showed ``result``.

        >>> Run(1, "bleed", (Result.FAIL, Result.PASS, Result.FAIL)).rows_with(Result.FAIL)
        (1, 3)
        """
        return tuple(row for row, seen in enumerate(self.results, start=1) if seen is result)


@dataclass(frozen=True)
class Reading:
    """One measurement of, or look at, a part.

    Parameters
    ----------
    measurement: id of the measurement as its part kind lists it (``coil-resistance``).
    part: id of the part it was taken at (``row-6/valve``).
    value: a number in the measurement's own unit, or a choice (``"yes"``, ``"no"``).
    """

    measurement: str
    part: str
    value: float | str


@dataclass(frozen=True)
class Case:
    """One machine's story so far.

    Parameters
    ----------
    machine: id of the layout.
    runs: in the order in which they were made.
    readings: measurements and looks at parts.
    history: what is known of the machine's past, by circumstance id (``first-hookup`` → ``yes``).
    """

    machine: str
    runs: tuple[Run, ...] = ()
    readings: tuple[Reading, ...] = ()
    history: Mapping[str, str] = field(default_factory=dict)
