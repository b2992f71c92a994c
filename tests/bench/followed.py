"""What the planner spends on a small machine, by following it down every outcome.

It infers anew after every outcome, as the program does; the chances of the outcomes, and what
the work did, come from the explicit sets of faults. Nothing is sampled.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.model import Model
from diagnose.knowledge.parts import PARKED
from diagnose.observations.case import Case
from diagnose.planner.candidates import Candidate, Outcome, rerun_name
from diagnose.planner.decide import Choice, best_choice
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.repairs import RepairOption
from diagnose.planner.value import Weighed
from diagnose.planner.what_if import what_if, with_run
from diagnose.record import record
from tests.bench.acts import Doing, Place, Rows, Shop
from tests.bench.explicit import Floats, failing

RARE = 1e-3
"""What is less probable is followed no further, but taken at what the planner believes."""


@record
class Restricted(TroubleshootingProblem):
    """A problem with only those acts that the dynamic programme has too."""

    doings: frozenset[Doing] = frozenset()

    @cached_property
    def tests(self) -> tuple[tuple[Candidate, Weighed], ...]:
        every = super().tests
        return tuple(pair for pair in every if doing_of(pair[0]) in self.doings)

    @cached_property
    def repairs(self) -> tuple[RepairOption, ...]:
        work = {doing.work for doing in self.doings}
        every = super().repairs
        return tuple(m for m in every if m.candidate is None or m.candidate.work in work)


@dataclass(eq=False)
class Follower:
    """The planner at work on one small machine, with the depth to which it looks ahead."""

    shop: Shop
    model: Model
    depth: int
    rare: float = RARE
    decisions: int = 0
    cut: float = 0.0
    unsound: float = 0.0
    log: list[str] = field(default_factory=list)

    def begin(self, pattern: tuple[Rows, ...]) -> Ranking:
        """What is known after a full run of every check."""
        ranking = Ranking(Evidence(self.model, Case(self.shop.machine.id), ()))
        for check, failed in zip(self.shop.checks, pattern, strict=True):
            ranking = self._ran(ranking, check, self.shop.every, failed)
        return ranking

    def minutes(self, pattern: tuple[Rows, ...], belief: Floats) -> float:
        """Expected minutes until the machine is proven, or handed over."""
        whole = belief / belief.sum()
        return self._follow(self.begin(pattern), self.shop.start(pattern), whole, 0)

    def _follow(self, ranking: Ranking, place: Place, belief: Floats, deep: int) -> float:
        """The same, times the mass of the belief."""
        mass, last = float(belief.sum()), self.shop.knowledge.rates.hand_over_minutes
        doing = self.shop.proof(place)
        if not place.rows and doing is None:
            self.unsound += mass - float(belief[self.shop.worlds.sets.index(frozenset())])
            return 0.0
        candidate = None
        if place.rows:
            choice = self._choose(ranking, place)
            if mass < self.rare:
                self.cut += mass
                return min(choice.value + self._proving, last) * mass
            candidate = choice.candidate
            if candidate is None:
                self._note(deep, mass, "hand over", choice.value)
                return last * mass
            doing = doing_of(candidate)
            self._note(deep, mass, doing.id, choice.value)
        assert doing is not None
        effect = self.shop.effect(place, doing)
        total = effect.cost * mass
        for number, joint in enumerate(effect.after(belief)):
            if joint.sum() > 1e-12:
                then, next_place = None, effect.places[number]
                if not self._ended(next_place):
                    then = self._after(ranking, candidate, doing, number)
                total += self._follow(then or ranking, next_place, joint, deep + 1)
        return total

    @cached_property
    def _proving(self) -> float:
        """Minutes of a full run of every check on the parked machine."""
        known, minutes, setup = self.shop.knowledge, 0.0, PARKED
        for made in known.checks.values():
            minutes += known.change_minutes(setup, made.setup)
            minutes += made.set_up_minutes + made.minutes_per_row * self.shop.machine.rows
            setup = made.setup
        return minutes

    def _ended(self, place: Place) -> bool:
        return not place.rows and self.shop.proof(place) is None

    def _choose(self, ranking: Ranking, place: Place) -> Choice:
        self.decisions += 1
        doings = frozenset(self.shop.doings(place))
        problem = Restricted(ranking, fault_groups(ranking)[0], doings=doings)
        return best_choice(problem, depth=self.depth, seconds=float("inf"))

    def _after(
        self, ranking: Ranking, candidate: Candidate | None, doing: Doing, number: int
    ) -> Ranking:
        if doing.measurement:
            assert candidate is not None
            return what_if(ranking, candidate, candidate.outcomes[number])
        failed = failing(doing.rows, number)
        if candidate is None:
            return self._ran(ranking, doing.check, doing.rows, failed)
        event = {rerun_name(doing.check, row): row in failed for row in doing.rows}
        return what_if(ranking, candidate, Outcome("seen", event))

    def _ran(self, ranking: Ranking, check: str, rows: Rows, failed: Rows) -> Ranking:
        event = {rerun_name(check, row): row in failed for row in rows}
        return with_run(ranking.evidence, ranking.evidence.case, check, event)

    def _note(self, deep: int, mass: float, what: str, value: float) -> None:
        self.log.append(f"{'  ' * deep}{mass:.4f} {what} (believes {value:.1f})")


def doing_of(candidate: Candidate) -> Doing:
    """What the dynamic programme calls a candidate."""
    if candidate.kind in ("measure", "look"):
        return Doing(candidate.id.partition("@")[0], candidate.part)
    rows = candidate.rows
    if candidate.outcomes:
        rows = tuple(int(name.rpartition("@")[2]) for name in candidate.outcomes[0].event)
    return Doing(work=candidate.work, check=candidate.check, rows=rows)
