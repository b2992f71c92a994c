"""The contingent plan: an act, its outcomes, and what follows each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import comb
from typing import Literal

from diagnose.decision.lookahead import Goal
from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.limits import too_many
from diagnose.diagnosis.opened import checks_touched
from diagnose.errors import OverBudget, TooManyRuns
from diagnose.inference import budget
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.events import Remedied
from diagnose.observations.rows import rows_in_words
from diagnose.planner.candidates import Candidate, Outcome, required_rerun, rerun_name
from diagnose.planner.decide import Choice, best_choice
from diagnose.planner.fault_groups import FaultGroup, fault_groups
from diagnose.planner.isolating import Isolating, isolating
from diagnose.planner.problem import EVERYTHING, Means, TroubleshootingProblem
from diagnose.planner.repair_cost import repair_minutes_of
from diagnose.planner.setup_state import minutes_in_order
from diagnose.planner.verification import Proof
from diagnose.planner.what_if import answer_chances, chance, what_if
from diagnose.record import record
from diagnose.tolerances import NO_CHANCE, SECONDS, SETTLED, WORTH_GROWING, WORTH_TELLING

TREE = 1500e6
"""Table entries that a plan may take besides its first act: 4 to 8 seconds on one core."""

NOT_WORKED_OUT = "too many failing runs to look further: rank again with this"

FALSE_ALARM = "a false alarm"


@record
class End:
    """Where a plan ends: ``proven``, ``prove``, ``hand-over``, ``isolated`` or ``open``.

    ``minutes`` are those of each of the acts, done in their order, with its change of set-up.
    """

    kind: Literal["proven", "prove", "hand-over", "isolated", "open"]
    says: str
    leading: Cause | None = None
    acts: tuple[Candidate, ...] = ()
    minutes: tuple[float, ...] = ()


@record
class PlanStep:
    """One act with the minutes that it costs from here, and its outcomes."""

    candidate: Candidate
    minutes: float
    branches: tuple[Branch, ...]


@record
class Branch:
    """One outcome, how probable it is, and what follows."""

    result: str
    probability: float
    then: PlanStep | End


@record
class Plan:
    """What to do about a machine, from what is known now.

    Parameters
    ----------
    goal: ``restore`` minimises the expected minutes to a machine that is proven good,
        ``isolate`` takes the most bits per minute.
    depth: how many acts deep the tree is grown.
    progress: called with the number of steps grown so far.
    """

    ranking: Ranking
    goal: Goal = "restore"
    means: Means = EVERYTHING
    depth: int = 2
    progress: Callable[[int], None] | None = None

    @cached_property
    def groups(self) -> list[FaultGroup]:
        """The failed rows by common cause; the plan is about the first.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=FFFFFF", "response=FFFFFF"])
        >>> [group.rows for group in plan(load_machine("mounted-6"), told).groups]
        [(1, 2, 3, 4, 5, 6)]
        """
        return fault_groups(self.ranking)

    @cached_property
    def problem(self) -> TroubleshootingProblem | None:
        """The problem that the plan is about, or None when no row failed."""
        return (
            TroubleshootingProblem(self.ranking, self.groups[0], self.means)
            if self.groups
            else None
        )

    @cached_property
    def choice(self) -> Choice | None:
        """What to do first, or None when no row failed.

        >>> from diagnose import load_machine, plan, read_typed
        >>> machine = load_machine("mounted-6")
        >>> told = read_typed(machine, ["response=FFFFFF", "engine=off"])
        >>> plan(machine, told).choice.candidate.id
        'response@1-6'
        >>> plan(machine, read_typed(machine, ["response=PPPPPP"])).choice is None
        True
        """
        return self._chosen(SECONDS)

    def _chosen(self, seconds: float) -> Choice | None:
        """What to do first; raises `TooManyRuns` when failing runs are too many to weigh it."""
        if self.problem is None:
            return None
        try:
            return best_choice(self.problem, self.goal, seconds=seconds)
        except OverBudget:
            raise _crowded(self.ranking.evidence, self.means) from None

    @property
    def act(self) -> Candidate | None:
        """What to do now; None when the machine is proven good or is to be handed over.

        When no row failed, what did not pass yet is run: all rows together. What proves the
        machine and cannot be done here leaves nothing else to do.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPP.."])
        >>> plan(load_machine("mounted-6"), told).act.id
        'response@1-6'
        """
        if self.choice is not None:
            return self.choice.candidate
        proves = next(iter(self.proof.next()), None)
        return proves if proves is not None and self.means.allow(proves) else None

    @cached_property
    def tree(self) -> PlanStep | End:
        """The plan, `depth` acts deep.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = ["coil-resistance@row-6=100ohm", "bleed=PPPPPP", "response=PPPPPF", "oil=54C"]
        >>> told = read_typed(load_machine("mounted-6"), told)
        >>> step = plan(load_machine("mounted-6"), told, depth=1).tree
        >>> step.candidate.id, [branch.result for branch in step.branches]
        ('replace-coil@row-6/valve', ['all pass', 'only 6 fails', 'some fail, say only row 1'])
        >>> round(sum(branch.probability for branch in step.branches), 9)
        1.0
        """
        _ = self.choice
        with budget.within(TREE):
            return _Grower(self.goal, self.means, self.progress).grow(self.ranking, self.depth)

    @cached_property
    def proof(self) -> Proof:
        """Whether the machine is proven good, and what is missing."""
        return Proof(self.ranking)

    @cached_property
    def isolating(self) -> Isolating | None:
        """The cheapest set of tests, all decided now, that tells the leading causes apart.

        None too where that cannot be worked out.
        """
        try:
            return isolating(self.problem) if self.problem else None
        except OverBudget:
            return None

    @cached_property
    def repair_only_minutes(self) -> float:
        """Expected minutes when testing stops now and repairs are made in order."""
        return self._outside + (self.choice.repair_only if self.choice else 0.0)

    @cached_property
    def plan_minutes(self) -> float:
        """Expected minutes when the plan is followed: an upper bound unless it is exact.

        With the goal to isolate, those of its first act with the best that can follow.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPPPP"])
        >>> plan(load_machine("mounted-6"), told).plan_minutes
        0.0
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPPPF"])
        >>> found = plan(load_machine("mounted-6"), told)
        >>> found.final_minutes < found.plan_minutes <= found.repair_only_minutes
        True
        """
        return self._outside + (self._choice_minutes if self.choice else 0.0)

    @property
    def _choice_minutes(self) -> float:
        assert self.problem is not None
        assert self.choice is not None
        if self.goal == "restore":
            return self.choice.value
        if self.choice.candidate is None:
            return self.choice.repair_only
        offers = best_choice(self.problem).offers
        return next(o.value for o in offers if o.candidate.id == self.choice.candidate.id)

    @cached_property
    def _outside(self) -> float:
        """Minutes of what is not the first fault group: the other groups, and the final pass.

        What one group's cause explains of another, and of its own rows, is over with it.
        """
        besides = (each.besides for each in self.groups)
        others = [*self.groups[1:], *(each for each in besides if each is not None)]
        minutes = (each.apart * repair_minutes_of(self.ranking, each) for each in others)
        return sum(minutes) + self.final_minutes

    @cached_property
    def final_minutes(self) -> float:
        """Minutes of the final full pass of every check; without a failure, of what is missing.

        After work on oil, six rows: 3 + 6 · 1.5 of bleeding, 5 until the machine is running
        without the hose, 3 + 6 · 0.15 of responding. When all were bled: 5 and 3.9.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> round(plan(load_machine("mounted-6"), told).final_minutes, 6)
        20.9
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP"])
        >>> round(plan(load_machine("mounted-6"), told).final_minutes, 6)
        8.9
        """
        if not self.groups:
            return sum(proving(self.proof).minutes, 0.0)
        chances = sorted({*self._due.values()})
        steps = zip(chances, [0.0, *chances], strict=False)
        return sum((chance - below) * self._minutes_of_due(chance) for chance, below in steps)

    @cached_property
    def _due(self) -> Mapping[str, float]:
        """By check, how likely a full run is due at the end: after oil work, of the bleed too."""
        assert self.problem is not None
        evidence, information = self.ranking.evidence, self.problem.information
        machine, knowledge = evidence.model.machine, evidence.model.knowledge
        due = dict.fromkeys(knowledge.checks, 0.0)
        for cause, blame in zip(
            information.causes, information.blame / information.blame.sum(), strict=True
        ):
            if cause is not None and cause.remedy is not None:
                work = Remedied(cause.remedy.id, cause.part)
                for check in checks_touched(machine, knowledge, work):
                    due[check] += float(blame)
        return {**due, **dict.fromkeys((check for check, _ in self.proof.missing), 1.0)}

    def _minutes_of_due(self, chance: float) -> float:
        """Minutes of a full run of each check that is due with at least a chance, in order."""
        knowledge = self.ranking.evidence.model.knowledge
        rows = self.ranking.evidence.model.machine.rows
        setup, total = "", 0.0
        for check in knowledge.checks.values():
            if self._due[check.id] >= chance:
                total += check.set_up_minutes + check.minutes_per_row * rows
                total += knowledge.change_minutes(setup or "any", check.setup)
                setup = check.setup
        return total


def _crowded(evidence: Evidence, means: Means = EVERYTHING) -> TooManyRuns:
    """The error that names the runs to leave out, so that a first act can be worked out."""

    def worked_out(case: Case) -> None:
        ranking = Ranking(Evidence(evidence.model, case, evidence.findings))
        _ = ranking.posterior
        for group in fault_groups(ranking)[:1]:
            _ = TroubleshootingProblem(ranking, group, means).finite

    return too_many(evidence.case, worked_out)


@dataclass
class _Grower:
    """Grows a plan step by step."""

    goal: Goal
    means: Means
    progress: Callable[[int], None] | None = None
    steps: int = 0

    def grow(self, ranking: Ranking, depth: int) -> PlanStep | End:
        """What to do at some point of the plan; left open where that cannot be worked out."""
        try:
            return self._grown(ranking, depth)
        except OverBudget:
            return End("open", NOT_WORKED_OUT)

    def _grown(self, ranking: Ranking, depth: int) -> PlanStep | End:
        found = fault_groups(ranking)
        if not found:
            return proving(Proof(ranking))
        problem = TroubleshootingProblem(ranking, found[0], self.means)
        leading = ranking.leading(found[0].target.row)
        rerun_first = required_rerun(ranking.evidence) is not None
        if self.goal == "isolate" and problem.settled >= SETTLED and not rerun_first:
            others = (TroubleshootingProblem(ranking, group, self.means) for group in found[1:])
            return _isolated(ranking, (problem, *others))
        if depth == 0:
            return End("open", f"go on from there: likeliest is {leading.says}", leading)
        choice = best_choice(problem, self.goal)
        if choice.candidate is None:
            return End("hand-over", choice.says, leading)
        self._tell()
        branches = tuple(self._branches(ranking, choice.candidate, depth))
        return PlanStep(choice.candidate, choice.minutes, branches)

    def _branches(self, ranking: Ranking, act: Candidate, depth: int) -> Iterator[Branch]:
        left = 1.0
        for outcome in act.outcomes:
            after = what_if(ranking, act, outcome)
            try:
                probability = _probability(ranking, after, act, outcome)
            except OverBudget:
                continue
            if probability >= WORTH_TELLING:
                left -= probability
            if probability >= WORTH_GROWING:
                yield Branch(outcome.result, probability, self.grow(after, depth - 1))
            elif probability >= WORTH_TELLING:
                yield Branch(outcome.result, probability, End("open", "rank again with this"))
        standing_for_the_rest = _example(ranking, act) if left >= WORTH_GROWING else None
        if standing_for_the_rest is not None:
            outcome, after = standing_for_the_rest
            yield Branch(outcome.result, left, self.grow(after, depth - 1))
        elif left > NO_CHANCE:
            yield Branch("anything else", left, End("open", "rank again with this"))

    def _tell(self) -> None:
        self.steps += 1
        if self.progress:
            self.progress(self.steps)


def _example(ranking: Ranking, act: Candidate) -> tuple[Outcome, Ranking] | None:
    """What stands for the outcomes that are left, if that can be worked out."""
    try:
        return representative_outcome(ranking, act)
    except OverBudget:
        return None


def _probability(before: Ranking, after: Ranking, act: Candidate, outcome: Outcome) -> float:
    """How probable an outcome is: exact, by inferring again with it."""
    if act.kind != "ask":
        return chance(before, after)
    return answer_chances(before, act)[act.outcomes.index(outcome)]


def _isolated(ranking: Ranking, problems: Iterable[TroubleshootingProblem]) -> End:
    """What each fault group was told to be."""
    causes = {cause.id: cause for cause in ranking.causes}
    blamed = [causes.get(problem.likeliest) for problem in problems]
    says = " and ".join(cause.says if cause else FALSE_ALARM for cause in blamed)
    return End("isolated", f"told apart: {says}", blamed[0])


def proving(proof: Proof) -> End:
    """What is left to do when no row failed last.

    Bleeding six rows: 5 to get ready, 3 + 6 · 1.5; then responding: 4 + 1 to change, 3 + 6 · 0.15.

    >>> from diagnose import load_machine, rank, read_typed
    >>> found = rank(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), []))
    >>> end = proving(Proof(found))
    >>> [(act.id, round(each, 6)) for act, each in zip(end.acts, end.minutes, strict=True)]
    [('bleed@1-6', 17.0), ('response@1-6', 8.9)]
    """
    if proof.holds:
        return End("proven", proof.says, proof.leading)
    acts = tuple(proof.next())
    minutes = tuple(minutes_in_order(proof.ranking.evidence, acts))
    return End("prove", proof.says, proof.leading, acts, minutes)


SHARES = (0.25, 0.5, 0.75)
"""What part of the rows fails in the examples of causes that come and go, beside one row alone."""


def representative_outcome(ranking: Ranking, act: Candidate) -> tuple[Outcome, Ranking] | None:
    """A likely one of the outcomes that an act leaves untold, and what would be known with it.

    None when the act tells them all, or is no run.

    Of six rows some outcomes are told: none fails, all do, row 6 does. Others fail in part too.

    >>> from diagnose import load_machine, rank, read_typed
    >>> from diagnose.planner.candidates import rerun
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> again = rerun(found.evidence, "response", (1, 2, 3, 4, 5, 6), (6,))
    >>> _, after = representative_outcome(found, again)
    >>> sorted(set(after.evidence.case.runs[-1].pattern))
    ['F', 'P']
    >>> representative_outcome(found, rerun(found.evidence, "response", (4, 5, 6), (6,))) is None
    True
    """
    rows = sorted(int(name.rpartition("@")[2]) for name in act.outcomes[0].event)
    told = [{name for name, fails in one.event.items() if fails} for one in act.outcomes]
    found: list[tuple[float, Outcome, Ranking]] = []
    for failing, alike in _examples(ranking.evidence.model.machine, rows):
        event = {rerun_name(act.check, row): row in failing for row in rows}
        if {name for name, fails in event.items() if fails} not in told:
            outcome = Outcome(f"some fail, say only {rows_in_words(failing)}", event)
            after = what_if(ranking, act, outcome)
            found.append((alike * chance(ranking, after), outcome, after))
    if not found:
        return None
    _, outcome, after = max(found, key=lambda one: one[0])
    return outcome, after


def _examples(machine: Machine, rows: Sequence[int]) -> Iterator[tuple[tuple[int, ...], int]]:
    """Failing rows, and how many patterns are as likely when the rows are alike."""
    many = len(rows)
    groups = [*machine.sections.values(), *machine.branches.values(), *machine.chains.values()]
    parts = [{*group} & {*rows} for group in groups]
    for part in dict.fromkeys(tuple(sorted(p)) for p in (*parts, *({*rows} - p for p in parts))):
        if 1 < len(part) < many:
            yield part, 1
    for size in dict.fromkeys([1, *(round(many * share) for share in SHARES)]) if many > 1 else ():
        spread = tuple(rows[place * many // size] for place in range(size))
        yield spread, comb(many, size)
