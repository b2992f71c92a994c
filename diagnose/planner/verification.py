"""Whether a machine is proven good, and what would prove it: the one place that decides it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from functools import cached_property

import numpy as np

from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.diagnosis.exchanged import Exchanged, exchanged
from diagnose.diagnosis.opened import checks_touched
from diagnose.errors import NoAnswer
from diagnose.inference.network import PRESENT
from diagnose.knowledge.parts import part_in_words
from diagnose.observations.events import Run
from diagnose.observations.result import Result
from diagnose.observations.rows import rows_in_words
from diagnose.planner.candidates import Candidate, rerun, rerun_name
from diagnose.planner.what_if import with_run
from diagnose.record import record
from diagnose.tolerances import MOST_PASSES, PROVEN_BELOW

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


@record
class Suspect:
    """A part that could explain a failure that was seen: its place, how probably it is faulty now,
    and the likeliest of its faults.
    """

    part: str
    probability: float
    leading: Cause


@record
class Proof:
    """What proves a machine good, as far as it does.

    One full run of each check, all rows together, under good circumstances, after all the work
    that could have touched it; nothing left exchanged between rows; no row that failed last; and
    no part likely that could explain a failure that was seen.

    Parameters
    ----------
    below: how probably faulty such a part may be.
    """

    ranking: Ranking
    below: float = PROVEN_BELOW

    @cached_property
    def exchanged(self) -> tuple[Exchanged, ...]:
        """What is still exchanged between two rows, in the order in which it goes back.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = ["bleed=PPPPPP", "cross-plugs@row-5=row-6", "response=PPPPPP"]
        >>> found = rank(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), told))
        >>> [each.rows for each in Proof(found).exchanged]
        [(5, 6)]
        """
        evidence = self.ranking.evidence
        return exchanged(evidence.model.machine, evidence.case.work)

    @cached_property
    def missing(self) -> tuple[tuple[str, tuple[int, ...]], ...]:
        """(check, every row) of each full run that is due, in the order in which they are made.

        An electrical repair leaves the bleed as it was.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = ["bleed=PPPPPP", "response=PPPPPF", "replace-coil@row-6=done"]
        >>> told = read_typed(load_machine("mounted-6"), [*told, "response=.....P"])
        >>> Proof(rank(load_machine("mounted-6"), told)).missing
        (('response', (1, 2, 3, 4, 5, 6)),)
        """
        every = tuple(range(1, self.ranking.evidence.model.machine.rows + 1))
        checks = self.ranking.evidence.model.knowledge.checks
        return tuple((check, every) for check in checks if self.proving_run(check) is None)

    def proving_run(self, check: str) -> Run | None:
        """The run that proves a check: full, good, and made after all that could have touched it.

        Where the same work touched an earlier check too, that one passes first.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = ["response=PPPPPP", "bleed=PPPPPP", "response=PPPPPP"]
        >>> found = rank(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), told))
        >>> [Proof(found).proving_run(check).index for check in ("bleed", "response")]
        [2, 3]
        """
        after = self._last_failure(check)
        for earlier in self._before(check):
            passed = self._full_pass(earlier, self._touched(earlier, check), 0)
            if passed is None:
                return None
            after = max(after, passed.index)
        return self._full_pass(check, self._touched(check), after)

    def _before(self, check: str) -> list[str]:
        checks = list(self.ranking.evidence.model.knowledge.checks)
        return checks[: checks.index(check)]

    def _full_pass(self, check: str, epoch: int, after: int) -> Run | None:
        """The first good run in which every row passed, not before an epoch and after a run."""
        runs = self.ranking.evidence.case.runs
        made = (run for run in runs if run.check == check and run.index > after)
        passed = (run for run in made if _every_row_seen_passing(run) and run.epoch >= epoch)
        return next((run for run in passed if self._good(run)), None)

    def _good(self, run: Run) -> bool:
        evidence = self.ranking.evidence
        doubted = {each.values["run"] for each in evidence.findings if each.kind == "standing"}
        return not evidence.known_bad(run) and run.index not in doubted

    def _last_failure(self, check: str) -> int:
        runs = self.ranking.evidence.case.runs
        failed = (run for run in runs if run.check == check and run.rows_with(Result.FAIL))
        return max((run.index for run in failed if self._good(run)), default=0)

    def _touched(self, *checks: str) -> int:
        """The epoch that the last work began that may have touched all of some checks."""
        epochs = enumerate(self._work_touched, start=1)
        return max((epoch for epoch, touched in epochs if touched.issuperset(checks)), default=0)

    @cached_property
    def _work_touched(self) -> tuple[frozenset[str], ...]:
        evidence = self.ranking.evidence
        machine, knowledge = evidence.model.machine, evidence.model.knowledge
        return tuple(checks_touched(machine, knowledge, work) for work in evidence.case.work)

    @cached_property
    def suspects(self) -> tuple[Suspect, ...]:
        """The parts above the bound that could explain a failure that was seen, likeliest first.

        A part is as likely faulty as all its modes together.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = ["bleed=PPPPPP", "response=PPPPPF", "response=PPPPPP"]
        >>> found = rank(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), told))
        >>> [each.part for each in Proof(found).suspects]
        ['row-6/cylinder', 'row-6/valve', 'row-6/sensor']
        """
        left: dict[str, list[Cause]] = {}
        for cause in self.ranking.causes:
            if cause.part in self._explaining:
                place = self.ranking.evidence.epochs.place_of(cause.part, cause.mode)
                left.setdefault(place, []).append(cause)
        found = (
            Suspect(place, sum(cause.probability for cause in causes), causes[0])
            for place, causes in left.items()
        )
        likely = [suspect for suspect in found if suspect.probability >= self.below]
        return tuple(sorted(likely, key=lambda suspect: -suspect.probability))

    @cached_property
    def _explaining(self) -> frozenset[str]:
        """The parts of which some fault makes a failure or a bad reading that was seen likelier."""
        evidence = self.ranking.evidence
        seen = [one.entries[0] for one in evidence.observed if one.outcome == PRESENT]
        states = np.concatenate([*seen, np.zeros(0, dtype=np.intp)])
        owners = np.searchsorted(evidence.offsets, np.unique(states), side="right") - 1
        parts = len(evidence.model.machine.parts)
        return frozenset(evidence.variables[owner] for owner in owners.tolist() if owner < parts)

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
        failed = self.ranking.evidence.failed_rows
        return not failed and not self.exchanged and not self.missing and not self.suspects

    @cached_property
    def says(self) -> str:
        """On what evidence, or what is missing, in one sentence.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPPPF"])
        >>> Proof(rank(load_machine("mounted-6"), told)).says
        'not proven: row 6 failed last'
        """
        if self.holds:
            checks = self.ranking.evidence.model.knowledge.checks
            runs = [f"{check} (run {self._index(check)})" for check in checks]
            bound = f"no part that could explain a failure is at {100 * self.below:g} % or more"
            return f"proven good: all rows passed {' and '.join(runs)}, and {bound}"
        return f"not proven: {'; '.join(self._lacking())}"

    def _index(self, check: str) -> int:
        run = self.proving_run(check)
        assert run is not None
        return run.index

    def _lacking(self) -> Iterator[str]:
        """What stands in the way, the first thing to see to first."""
        failed = self.ranking.evidence.failed_rows
        if failed:
            yield f"{rows_in_words(failed)} failed last"
        for each in self.exchanged:
            yield each.advice
        if not failed and not self.exchanged and self.missing:
            yield self._what_is_due
        if not failed and not self.exchanged and not self.missing:
            yield from self._what_is_likely()

    @property
    def _what_is_due(self) -> str:
        case = self.ranking.evidence.case
        checks = " and then of ".join(check for check, _ in self.missing)
        runs, have = ("runs", "have") if len(self.missing) > 1 else ("run", "has")
        since = " since the work that could have touched it" if case.work else ""
        if case.work and len(self.missing) > 1:
            since = f"{since[:-2]}them"
        return f"full {runs} of {checks}, all rows together, {have} not passed{since}"

    def _what_is_likely(self) -> Iterator[str]:
        for suspect in self.suspects[:1]:
            kind = self.ranking.evidence.model.machine.parts[suspect.part]
            chance = f"{100 * suspect.probability:.0f} %"
            name, needed = (
                part_in_words(suspect.part, kind),
                f"needs to be under {100 * self.below:g} %",
            )
            yield f"{name} {chance}, {needed}: {self._what_would_do(suspect)}"

    def _what_would_do(self, suspect: Suspect) -> str:
        """How many more passes bring a part below the bound, and what else would show it."""
        act = self._what_shows(suspect.leading)
        passes = self._passes_needed(suspect, act)
        rows = rows_in_words(act.rows)
        some = "pass" if passes == 1 else "passes"
        says = (
            f"{_NUMBERS[passes]} more {some} of {act.check} on {rows}"
            if passes
            else (f"passes of {act.check} alone will not tell; look at it or measure it")
        )
        mode = self.ranking.evidence.model.machine.parts[suspect.leading.part].mode(
            suspect.leading.mode
        )
        return f"{says}, or {mode.provoked_by} while it runs" if mode.provoked_by else says

    def _passes_needed(self, suspect: Suspect, act: Candidate) -> int:
        """How many passes of a rerun bring a part below the bound; 0 when too many would."""
        ranking, event = self.ranking, {rerun_name(act.check, row): False for row in act.rows}
        for number in range(1, MOST_PASSES + 1):
            evidence = ranking.evidence
            ranking = with_run(evidence, evidence.case, act.check, event)
            with suppress(NoAnswer):
                if all(left.part != suspect.part for left in Proof(ranking, self.below).suspects):
                    return number
        return 0

    def next(self) -> Iterator[Candidate]:
        """What would go on proving a machine of which no row failed last.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPP.."])
        >>> [act.says for act in Proof(rank(load_machine("mounted-6"), told)).next()]
        ['rerun response on rows 1–6']
        """
        evidence = self.ranking.evidence
        every = tuple(range(1, evidence.model.machine.rows + 1))
        due = [check for check, _ in self.missing]
        for each in self.exchanged:
            yield _put_back(each)
            machine, knowledge = evidence.model.machine, evidence.model.knowledge
            due += checks_touched(machine, knowledge, each.work)
        for check in evidence.model.knowledge.checks:
            if check in due:
                yield rerun(evidence, check, every, ())
        if not due:
            yield from (self._what_shows(suspect.leading) for suspect in self.suspects[:1])

    def _what_shows(self, cause: Cause) -> Candidate:
        """The check that shows a cause best for its minutes, on the rows that depend on it."""
        evidence = self.ranking.evidence
        mode = evidence.model.machine.parts[cause.part].mode(cause.mode)
        rows = cause.rows or tuple(range(1, evidence.model.machine.rows + 1))
        again = {check: rerun(evidence, check, rows, ()) for check in mode.shows}
        return max(again.values(), key=lambda act: mode.shows[act.check] / act.minutes)


def _every_row_seen_passing(run: Run) -> bool:
    """Whether every row passed and was named: what is only inferred proves nothing."""
    return set(run.results) == {Result.PASS} and not run.inferred


def _put_back(exchange: Exchanged) -> Candidate:
    swap = exchange.swap
    return Candidate(
        id=exchange.work.id,
        kind="swap",
        says=f"{rows_in_words(exchange.rows).capitalize()}: {swap.put_back}",
        rows=exchange.rows,
        minutes=swap.minutes,
        outcomes=(),
        needs=swap.needs,
        cautions=(swap.caution,) if swap.caution else (),
        part=exchange.work.part,
        setup=swap.setup,
        ends=swap.setup,
        helper=swap.helper,
        work=exchange.work,
    )
