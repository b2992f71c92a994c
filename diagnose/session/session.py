"""Where the work on a case stands: what is known, what the plan is, what time it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from datetime import datetime
from functools import cached_property

from diagnose.observations.events import Remedied, Run, Swapped
from diagnose.observations.rows import standing_failures
from diagnose.planner.candidates import required_rerun
from diagnose.planner.contingent_plan import Plan
from diagnose.planner.decide import others_fail, worth_at_once
from diagnose.planner.verification import Proof
from diagnose.projection import Projection
from diagnose.record import record


@record
class Session:
    """A case in hand.

    Parameters
    ----------
    view: the case as it is understood.
    now: the time, by which a temperature that was told long ago is asked for again.
    accepted: circumstances that are bad and under which a run is made all the same, by value.
    """

    view: Projection
    now: datetime
    accepted: Mapping[str, float | str] = field(default_factory=dict)

    @cached_property
    def plan(self) -> Plan:
        """The plan, one act deep."""
        return self.view.plan()

    @cached_property
    def proof(self) -> Proof:
        """Whether the machine is proven good.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.observations.entries import Opened, new_event
        >>> from diagnose.observations.state import replay
        >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> run = new_event(Run.of("bleed", "PPPPP."), "A")
        >>> state = replay([opening, run])
        >>> Session(Projection(state, load_knowledge()), state.last).proof.missing
        (('bleed', (1, 2, 3, 4, 5, 6)), ('response', (1, 2, 3, 4, 5, 6)))
        """
        return Proof(self.view.ranking)

    @cached_property
    def to_check(self) -> tuple[str, tuple[int, ...]] | None:
        """The check, and the rows, that show what the work since the last run has done.

        None when there was no such work, or when it was on parts of rows that do not fail. Rows
        whose oil was opened are bled first; every row runs where that saves the full run later,
        once the machine was bled.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.observations.entries import Opened, new_event
        >>> from diagnose.observations.state import replay
        >>> opening = Opened(case="20260301-a", machine="mounted-6")
        >>> bled = Run.of("bleed", "PPPPPP")
        >>> run = Run.of("response", "PPPPPF")
        >>> mended = Remedied("replace-coil", "row-6/valve")
        >>> for story in ((opening, run, mended), (opening, bled, run, mended)):
        ...     state = replay([new_event(each, "A") for each in story])
        ...     print(Session(Projection(state, load_knowledge()), state.last).to_check)
        ('response', (6,))
        ('response', (1, 2, 3, 4, 5, 6))
        """
        done: list[str] = []
        for each in reversed(self.view.state.done):
            if isinstance(each.counts, Run):
                break
            if isinstance(each.counts, Remedied):
                done.append(each.counts.part)
            elif isinstance(each.counts, Swapped):
                done += [each.counts.part, each.counts.other]
        first = required_rerun(self.view.ranking.evidence) if done else None
        if first is not None and self.unbled:
            return first.check, first.rows
        shown = self._shown_by(done)
        return self._at_once(*shown) if shown else None

    @property
    def unbled(self) -> frozenset[int]:
        """The rows whose oil was opened and that were not bled since.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.observations.entries import Opened, new_event
        >>> from diagnose.observations.state import replay
        >>> opening = Opened(case="20260301-a", machine="mounted-6")
        >>> mended = Remedied("replace-valve", "row-6/valve")
        >>> state = replay([new_event(each, "A") for each in (opening, mended)])
        >>> sorted(Session(Projection(state, load_knowledge()), state.last).unbled)
        [6]
        """
        evidence = self.view.ranking.evidence
        return evidence.unbled[len(evidence.case.runs) + 1]

    def _at_once(self, check: str, rows: tuple[int, ...]) -> tuple[str, tuple[int, ...]]:
        """Every row where these alone fail and a full run is worth its minutes now."""
        problem = self.plan.problem
        same = problem is not None and (problem.check, problem.group.rows) == (check, rows)
        first = next((due for due, _ in self.proof.missing), None) == check
        if problem is None or not same or not first or others_fail(problem):
            return check, rows
        worth = worth_at_once(problem, check, problem.passes_again)
        return check, tuple(range(1, self.view.machine.rows + 1)) if worth > 0 else rows

    def _shown_by(self, done: list[str]) -> tuple[str, tuple[int, ...]] | None:
        touched = {row for part in done for row in self.view.machine.rows_of(part)}
        failing = [
            place for place in standing_failures(self.view.state.case) if place[1] in touched
        ]
        if not failing:
            return None
        checks = [check for check, _ in failing]
        check = max(dict.fromkeys(checks), key=checks.count)
        swapped = {part.partition("/")[0] for part in done if len(done) > 1}
        rows = {row for name, row in failing if name == check}
        rows |= {row for row in touched if f"row-{row}" in swapped}
        return check, tuple(sorted(rows))
