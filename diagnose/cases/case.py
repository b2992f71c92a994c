"""What happened at the planter: runs, readings, work done and history, as plain values.

Each remedy or swap begins a new *epoch*: the time before the first is epoch 0. A run or reading
says in which epoch it was made, so that it counts with the parts as they were then.

A `Case` holds only what was observed. What it means is worked out by later modules.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field, replace
from enum import Enum

from diagnose.record import record


class Result(Enum):
    """What one row showed in one run."""

    PASS = "P"
    FAIL = "F"
    UNSURE = "?"
    NOT_RUN = "."


@record
class Run:
    """One execution of a check over chosen rows, under its circumstances.

    Parameters
    ----------
    index: place in the story, from 1.
    check: ``bleed`` or ``response``.
    results: one `Result` per row of the machine, row 1 first.
    circumstances: what is known about the run, by circumstance id: a choice such as ``"on"``,
        or a number in the unit of the circumstance (degrees Celsius, bar). Absent means unknown.
    epoch: how many remedies and swaps were done before it.

    >>> run = Run(1, "response", (Result.PASS, Result.FAIL, Result.NOT_RUN), {"oil": 54.0})
    >>> run.pattern, run.rows_with(Result.FAIL)
    ('PF.', (2,))
    """

    index: int
    check: str
    results: tuple[Result, ...]
    circumstances: Mapping[str, float | str] = field(default_factory=dict)
    epoch: int = 0

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


@record
class Reading:
    """One measurement of, or look at, a part.

    Parameters
    ----------
    measurement: id of the measurement as its part kind lists it (``coil-resistance``).
    part: id of the part it was taken at (``row-6/valve``).
    value: a number in the measurement's own unit, or a choice (``"yes"``, ``"no"``).
    epoch: how many remedies and swaps were done before it.
    """

    measurement: str
    part: str
    value: float | str
    epoch: int = 0


@record
class Remedied:
    """A remedy that was done to a part, by the id that its kind lists."""

    remedy: str
    part: str

    @property
    def id(self) -> str:
        """``REMEDY@PART``.

        >>> Remedied("replace-coil", "row-6/valve").id
        'replace-coil@row-6/valve'
        """
        return f"{self.remedy}@{self.part}"


@record
class Swapped:
    """What changed places between a part and its like in another row, by the id of the swap."""

    swap: str
    part: str
    other: str

    @property
    def id(self) -> str:
        """``SWAP@PART+PART``.

        >>> Swapped("swap-coil", "row-6/valve", "row-5/valve").id
        'swap-coil@row-6/valve+row-5/valve'
        """
        return f"{self.swap}@{self.part}+{self.other}"


Work = Remedied | Swapped
"""What changes the machine between runs."""


@record
class Case:
    """One machine's story so far.

    Parameters
    ----------
    machine: id of the layout.
    runs: in the order in which they were made.
    readings: measurements and looks at parts.
    history: what is known of the machine's past, by circumstance id (``first-hookup`` → ``yes``).
    work: remedies and swaps in the order in which they were done; number k begins epoch k + 1.
    """

    machine: str
    runs: tuple[Run, ...] = ()
    readings: tuple[Reading, ...] = ()
    history: Mapping[str, str] = field(default_factory=dict)
    work: tuple[Work, ...] = ()

    def in_order(self) -> Iterator[Run | Reading | Work]:
        """All that was done, epoch by epoch: what ended the last one, its runs, its readings.

        >>> looked = Case("one").then(Reading("look-leak", "row-1/valve", "no"))
        >>> failed = looked.then(Run(0, "bleed", (Result.FAIL,)))
        >>> mended = failed.then(Remedied("clean-valve", "row-1/valve"))
        >>> proven = mended.then(Run(0, "bleed", (Result.PASS,)))
        >>> [type(each).__name__ for each in proven.in_order()]
        ['Run', 'Reading', 'Remedied', 'Run']
        """
        for epoch in range(len(self.work) + 1):
            yield from self.work[epoch - 1 : epoch] if epoch else ()
            yield from (run for run in self.runs if run.epoch == epoch)
            yield from (reading for reading in self.readings if reading.epoch == epoch)

    def then(self, event: Run | Reading | Work) -> Case:
        """The case with one more thing that happened; its number and epoch are filled in.

        >>> case = Case("mounted-6").then(Run(0, "response", (Result.PASS,) * 5 + (Result.FAIL,)))
        >>> case = case.then(Remedied("replace-coil", "row-6/valve"))
        >>> case = case.then(Run(0, "response", (Result.PASS,) * 6))
        >>> [(run.index, run.epoch) for run in case.runs]
        [(1, 0), (2, 1)]
        """
        epoch = len(self.work)
        if isinstance(event, Run):
            run = replace(event, index=len(self.runs) + 1, epoch=epoch)
            return replace(self, runs=(*self.runs, run))
        if isinstance(event, Reading):
            return replace(self, readings=(*self.readings, replace(event, epoch=epoch)))
        return replace(self, work=(*self.work, event))
