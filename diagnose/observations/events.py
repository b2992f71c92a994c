"""What can be observed and done at a planter: the events of which a `Case` is the replay.

Values are plain: temperatures in degrees Celsius, pressures in bar, readings in the unit of their
measurement, choices as their words. `diagnose.observations.entries` has what is said beside them,
and who told what when.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Annotated, Literal

from diagnose.observations.fields import Filled, Form, Identifier, Row, Stored, Value
from diagnose.observations.result import Result, pattern_of, results_of
from diagnose.record import record


@record
class Count(Stored):
    """So many of some rows showed a result, and nobody knows which: "about 5 of rows 1–12 failed".

    The rows have the mark for unsure in the pattern of their run.

    Parameters
    ----------
    least, most: how many rows it was; the same number twice where it is known.
    """

    result: Result
    rows: tuple[Row, ...]
    least: Annotated[int, Form("CountForm")]
    most: Annotated[int, Form("CountForm")]


@record
class Alternative(Stored):
    """All rows of one of several groups showed a result: "6 or 7 failed" is ``((6,), (7,))``.

    The rows have the mark for unsure in the pattern of their run; those of the other groups
    passed where ``result`` is a fail, and failed where it is a pass.
    """

    result: Result
    rows: tuple[tuple[Row, ...], ...]


@record
class Run(Stored):
    """One execution of a check over chosen rows, under its circumstances.

    Parameters
    ----------
    index: place in the story, from 1; 0 until a case takes it in.
    check: ``bleed`` or ``response``.
    results: one `Result` per row of the machine, row 1 first.
    circumstances: what is known about the run, by circumstance id: a choice such as ``"on"``,
        or a number in the unit of the circumstance (degrees Celsius, bar). Absent means unknown.
    epoch: how many remedies and swaps were done before it.
    counts, alternatives: what is known of rows together, and not of each by itself.
    inferred: rows that count as passed though nobody named them; they prove nothing.
    session: the sitting that the run belongs to, by a name that its runs share.

    >>> run = Run(1, "response", (Result.PASS, Result.FAIL, Result.NOT_RUN), {"oil": 54.0})
    >>> run.pattern, run.rows_with(Result.FAIL)
    ('PF.', (2,))
    """

    index: Filled
    check: Identifier
    results: Annotated[tuple[Result, ...], Form("ResultsForm")]
    circumstances: Mapping[str, Value] = field(default_factory=dict)
    epoch: Filled = 0
    counts: tuple[Count, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    inferred: tuple[Row, ...] = ()
    session: Identifier | None = None
    kind: Literal["run"] = field(default="run", kw_only=True, repr=False)

    @classmethod
    def of(
        cls, check: str, pattern: str, circumstances: Mapping[str, float | str] | None = None
    ) -> Run:
        """A run as it is told: its place is filled in by the case that takes it in.

        >>> Run.of("bleed", "PPPPPF", {"oil": 54.0}).rows_with(Result.FAIL)
        (6,)
        """
        return cls(0, check, results_of(pattern), dict(circumstances or {}))

    @property
    def pattern(self) -> str:
        """The results as one letter per row, in row order.

        >>> Run(1, "bleed", (Result.PASS, Result.UNSURE)).pattern
        'P?'
        """
        return pattern_of(self.results)

    def rows_with(self, result: Result) -> tuple[int, ...]:
        """The rows (from 1) that showed ``result``.

        >>> Run(1, "bleed", (Result.FAIL, Result.PASS, Result.FAIL)).rows_with(Result.FAIL)
        (1, 3)
        """
        return tuple(row for row, seen in enumerate(self.results, start=1) if seen is result)


@record
class Reading(Stored):
    """One measurement of, or look at, a part.

    Parameters
    ----------
    measurement: id of the measurement as its part kind lists it (``coil-resistance``).
    part: id of the part it was taken at (``row-6/valve``).
    value: a number in the measurement's own unit, or a choice (``"yes"``, ``"no"``).
    epoch: how many remedies and swaps were done before it.
    circumstances: what is known of how it was taken, such as the engine off, or full command.
    """

    measurement: Identifier
    part: Identifier
    value: Value
    epoch: Filled = 0
    circumstances: Mapping[str, Value] = field(default_factory=dict)
    kind: Literal["reading"] = field(default="reading", kw_only=True, repr=False)


@record
class Remedied(Stored):
    """A remedy that was done to a part, by the id that its kind lists."""

    remedy: Identifier
    part: Identifier
    kind: Literal["remedy"] = field(default="remedy", kw_only=True, repr=False)

    @property
    def id(self) -> str:
        """``REMEDY@PART``.

        >>> Remedied("replace-coil", "row-6/valve").id
        'replace-coil@row-6/valve'
        """
        return f"{self.remedy}@{self.part}"


@record
class Swapped(Stored):
    """What changed places between a part and its like in another row, by the id of the swap."""

    swap: Identifier
    part: Identifier
    other: Identifier
    kind: Literal["swap"] = field(default="swap", kw_only=True, repr=False)

    @property
    def id(self) -> str:
        """``SWAP@PART+PART``.

        >>> Swapped("swap-coil", "row-6/valve", "row-5/valve").id
        'swap-coil@row-6/valve+row-5/valve'
        """
        return f"{self.swap}@{self.part}+{self.other}"


@record
class History(Stored):
    """What is known of the machine's past, by circumstance."""

    values: Mapping[str, Identifier]
    kind: Literal["history"] = field(default="history", kw_only=True, repr=False)


@record
class Circumstances(Stored):
    """Circumstances that hold for the runs that follow; None takes back what was said."""

    values: Mapping[str, Value | None]
    kind: Literal["circumstances"] = field(default="circumstances", kw_only=True, repr=False)


Work = Remedied | Swapped
"""What changes the machine between runs."""

Observed = Run | Reading | Work | History
"""What a case is made of."""
