"""Whether a machine is proven good, and what would prove it."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from diagnose.cases.case import Result
from diagnose.cases.rows import rows_in_words
from diagnose.ranking.causes import Cause, Ranking
from diagnose.ranking.evidence import Evidence
from diagnose.record import record
from diagnose.retest.candidates import Candidate, rerun

PROVEN_BELOW = 0.05
"""No cause that is left may be more probable than this in a machine that is proven good."""


@record
class Proof:
    """What proves a machine good, as far as it does.

    Parameters
    ----------
    below: how probable the likeliest cause that is left may be.
    """

    ranking: Ranking
    below: float = PROVEN_BELOW

    @cached_property
    def missing(self) -> tuple[tuple[str, tuple[int, ...]], ...]:
        """(check, rows) that have not passed since the last work, in a run not known to be bad.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPP.PF"])
        >>> Proof(rank(load_machine("mounted-6"), told)).missing
        (('response', (4, 6)),)
        """
        return tuple(self._missing())

    def _missing(self) -> Iterator[tuple[str, tuple[int, ...]]]:
        evidence = self.ranking.evidence
        every = range(1, evidence.model.machine.rows + 1)
        for check in evidence.model.knowledge.checks:
            passed = rows_passed(evidence, check)
            rows = tuple(row for row in every if row not in passed)
            if rows:
                yield check, rows

    @cached_property
    def leading(self) -> Cause | None:
        """The likeliest cause that is left in the machine, circumstances of past runs aside.

        That the engine was off explains the run, but it is nothing that is left in the machine.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=FFFFFF", "engine=off"])
        >>> found = rank(load_machine("mounted-6"), told)
        >>> found.causes[0].group, Proof(found).leading.group
        ('circumstances', 'air')
        """
        left = [cause for cause in self.ranking.causes if cause.group != "circumstances"]
        return left[0] if left else None

    @cached_property
    def holds(self) -> bool:
        """Whether the machine is proven good.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine, passes = load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPPPP"]
        >>> Proof(rank(machine, read_typed(machine, passes))).holds
        True
        >>> told = [*passes, "replace-coil@row-6=done"]
        >>> Proof(rank(machine, read_typed(machine, told))).holds
        False
        """
        likely = self.leading is not None and self.leading.probability >= self.below
        return not self.ranking.evidence.failed_rows and not self.missing and not likely

    @cached_property
    def says(self) -> str:
        """On what evidence, or what is missing, in one sentence.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPPPF"])
        >>> Proof(rank(load_machine("mounted-6"), told)).says
        'not proven: row 6 failed last'
        """
        evidence = self.ranking.evidence
        failed = evidence.failed_rows
        if failed:
            return f"not proven: {rows_in_words(failed)} failed last"
        if self.missing:
            return f"not proven: {self._what_is_missing}"
        cause, bound = self.leading, f"{100 * self.below:g} %"
        if cause is not None and not self.holds:
            chance = f"{100 * cause.probability:.0f} %"
            return f"not proven: {cause.says} is still {chance} likely, and {bound} is the bound"
        checks = " and ".join(evidence.model.knowledge.checks)
        return f"proven good: every row passed {checks}, and no cause is left above {bound}"

    @property
    def _what_is_missing(self) -> str:
        evidence = self.ranking.evidence
        left = [f"{check} on {self._rows(rows)}" for check, rows in self.missing]
        since = " since the last work" if evidence.case.work else ""
        have = "have" if len(left) > 1 else "has"
        return f"{' and '.join(left)} {have} not passed under good circumstances{since}"

    def _rows(self, rows: tuple[int, ...]) -> str:
        whole = len(rows) == self.ranking.evidence.model.machine.rows
        return "every row" if whole else rows_in_words(rows)

    def next(self) -> Iterator[Candidate]:
        """What would go on proving a machine of which no row failed last.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPP.."])
        >>> [act.says for act in Proof(rank(load_machine("mounted-6"), told)).next()]
        ['rerun response on rows 5–6']
        """
        evidence = self.ranking.evidence
        for check, rows in self.missing:
            yield rerun(evidence, check, rows, ())
        if not self.missing and self.leading is not None and not self.holds:
            yield self._what_shows(self.leading)

    def _what_shows(self, cause: Cause) -> Candidate:
        """The check that shows a cause best for its minutes, on the rows that depend on it."""
        evidence = self.ranking.evidence
        mode = evidence.model.machine.parts[cause.part].mode(cause.mode)
        rows = cause.rows or tuple(range(1, evidence.model.machine.rows + 1))
        again = {check: rerun(evidence, check, rows, ()) for check in mode.shows}
        return max(again.values(), key=lambda act: mode.shows[act.check] / act.minutes)


def rows_passed(evidence: Evidence, check: str) -> frozenset[int]:
    """Rows that passed a check since the last work, in runs not known to be bad.

    >>> from diagnose import load_machine, rank, read_typed
    >>> typed = ["response=PPP.PF", "response=...P..", "engine=off"]
    >>> told = read_typed(load_machine("mounted-6"), typed)
    >>> sorted(rows_passed(rank(load_machine("mounted-6"), told).evidence, "response"))
    [1, 2, 3, 5]
    """
    return frozenset(
        row
        for run in evidence.case.runs
        if run.check == check and run.epoch == evidence.epochs.now and not evidence.known_bad(run)
        for row in run.rows_with(Result.PASS)
    )
