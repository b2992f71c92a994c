"""How well a drill was played, in minutes, in marks, and in words.

Marks judge decisions, not luck. Every move loses the expected minutes that it throws away beside
the best act at that moment (`diagnose.training.decision_point`). With P the minutes that the
planner expects at the start and L all that was lost,

    marks = 100 · P / (P + L)

so that 100 is to lose nothing, and 50 is to throw away as much as the whole job was worth. The
planner's own moves lose nothing by definition; nobody who knows only what was seen is expected to
do better, though luck may.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import permutations
from typing import TypeVar

import numpy as np

from diagnose.diagnosis.causes import Cause
from diagnose.errors import NoAnswer
from diagnose.knowledge.parts import Remedy, part_in_words
from diagnose.observations.rows import rows_in_words
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.value import Weighed
from diagnose.record import record
from diagnose.training.decision_point import DecisionPoint, offer_of
from diagnose.training.game import Drill, DrillStep, Sitting, play
from diagnose.training.moves import ENDS, NONE, Move
from diagnose.training.policies import decision_point_of, planner, simulate
from diagnose.training.record import Finished, Opportunity
from diagnose.training.share_code import encode_drill
from diagnose.training.skills import opportunities
from diagnose.training.world import HiddenFault

_Given = TypeVar("_Given")

_WORTH_SAYING = 0.5
"""Minutes lost below which nothing is said of a move."""

NO_BITS = 0.01
"""A test that tells fewer bits than this tells nothing worth its minutes."""

SAME = 0.05
"""Chances nearer than this are the same to a technician."""

UNLIKELY = 0.1
"""A repair that would help with less than this chance is one of an unlikely cause."""


@record
class Verdict:
    """One move judged: the expected minutes that it lost, why, and the planner's move instead.

    ``belief`` is the chance of ``leading``, the likeliest cause after the move, ``truth`` what the
    true faults were given on average, or that nothing was broken when nothing was. Of a move that
    could not be judged, for too many rows had failed too often by then, nothing is said.
    """

    step: DrillStep
    loss: float
    reason: str = ""
    instead: str = ""
    leading: str = ""
    belief: float = 0.0
    truth: float | None = None


class Judge:
    """Judges a drill as it is played; what was worked out for earlier moves is kept."""

    def __init__(self, drill: Drill) -> None:
        self.drill = drill
        self._points: dict[tuple[Move, ...], DecisionPoint] = {}

    def point(self, moves: tuple[Move, ...]) -> DecisionPoint:
        """What is known after the moves."""
        if moves not in self._points:
            self._points[moves] = decision_point_of(play(self.drill, moves))
        return self._points[moves]

    def debriefing(self, sitting: Sitting) -> Debriefing:
        """The whole drill, judged."""
        return Debriefing(self, sitting)


@dataclass(frozen=True, eq=False)
class Debriefing:
    """A drill that has been played, move by move.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> gone = Judge(drill).debriefing(play(drill, [Move("give up")]))
    >>> gone.losses, gone.declared, gone.right  # a handing over is worth so many minutes
    ([300.0], (), False)
    >>> gone.marks == round(100 * gone.expected / (gone.expected + 300))
    True
    >>> blind = Judge(drill).debriefing(play(drill, [Move("declare", ",".join(gone.truth))]))
    >>> blind.right, blind.skills["prove"]  # what was hidden, by luck; nothing had proven it
    (True, (0, 1))
    """

    judge: Judge
    sitting: Sitting

    @property
    def drill(self) -> Drill:
        """The drill."""
        return self.sitting.drill

    @cached_property
    def points(self) -> list[DecisionPoint]:
        """What was known before each move."""
        moves = self.sitting.moves
        return [self.judge.point(moves[:number]) for number in range(len(moves))]

    @cached_property
    def expected(self) -> float:
        """Minutes that the planner expected at the start."""
        return self.judge.point(()).minutes_left

    @cached_property
    def losses(self) -> list[float]:
        """Expected minutes that each move lost; being called off loses a handing over."""
        pairs = zip(self.points, self.sitting.moves, strict=True)
        found = [_judged(partial(point.loss, move), 0.0) for point, move in pairs]
        if self.sitting.called_off:
            found[-1] += self.points[-1].hand_over
        return found

    @property
    def marks(self) -> int:
        """From 0 to 100."""
        return round(100 * self.expected / (self.expected + sum(self.losses)))

    @cached_property
    def planned(self) -> Sitting:
        """What the planner does on this very drill, with the luck that each act has."""
        return simulate(self.drill, planner)

    @cached_property
    def best_possible(self) -> float:
        """Minutes and parts for somebody who knows the fault: the quickest repairs in the best
        order, and the final full pass.
        """
        return best_possible(self.drill)

    @cached_property
    def opportunities(self) -> tuple[Opportunity, ...]:
        """For each move, what skills it called for and whether they were shown."""
        pairs = enumerate(zip(self.points, self.sitting.moves, strict=True), 1)
        return tuple(each for n, (point, move) in pairs for each in _called_for(point, move, n))

    @property
    def skills(self) -> Mapping[str, tuple[int, int]]:
        """By skill, how many opportunities were taken and how many there were."""
        found: dict[str, tuple[int, int]] = {}
        for each in self.opportunities:
            taken, of = found.get(each.skill, (0, 0))
            found[each.skill] = (taken + each.taken, of + 1)
        return found

    @property
    def truth(self) -> tuple[str, ...]:
        """The ids of the hidden faults."""
        return tuple(sorted(f"{part}:{mode}" for part, mode in self.drill.revealed().faults))

    @property
    def declared(self) -> tuple[str, ...]:
        """What was declared; nothing when it was given up."""
        last = self.sitting.moves[-1] if self.sitting.moves else None
        if last is None or last.kind != "declare" or last.name == NONE:
            return ()
        return tuple(last.name.split(","))

    @property
    def right(self) -> bool:
        """Whether exactly the hidden faults were declared."""
        last = self.sitting.moves[-1] if self.sitting.moves else None
        ended = last is not None and last.kind == "declare"
        return ended and set(self.declared) == set(self.truth)

    @cached_property
    def verdicts(self) -> tuple[Verdict, ...]:
        """Every move judged."""
        return tuple(self._verdicts())

    def _verdicts(self) -> Iterator[Verdict]:
        for number, (step, loss) in enumerate(zip(self.sitting.steps, self.losses, strict=True)):
            yield _judged(partial(self._verdict, number, step, loss), Verdict(step, loss))

    def _verdict(self, number: int, step: DrillStep, loss: float) -> Verdict:
        point = self.points[number]
        after = self.points[min(number + 1, len(self.points) - 1)]
        chances = {id: chance for id, chance in after.there.items() if id != NONE}
        leading = max(chances, key=lambda each: chances[each])
        truth = [chances.get(id, 0.0) for id in self.truth] or [after.there[NONE]]
        return Verdict(
            step,
            loss,
            reason(point, step.move, loss),
            point.best.id,
            leading,
            chances[leading],
            sum(truth) / len(truth),
        )


def _called_for(point: DecisionPoint, move: Move, number: int) -> tuple[Opportunity, ...]:
    """The skills that a move called for, as far as it can be judged."""
    return _judged(lambda: tuple(opportunities(point, move, number)), ())


def _judged(judge: Callable[[], _Given], otherwise: _Given) -> _Given:
    """What a judge says; ``otherwise`` where so much failed that nothing can be worked out."""
    try:
        return judge()
    except NoAnswer:
        return otherwise


def best_possible(drill: Drill) -> float:
    """Minutes and parts for somebody who knows the faults: quickest repairs, best order, proof.

    It is no bound for the planner, who may be lucky, or stop without having mended what no check
    has shown.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 12), load_knowledge(learned=False))
    >>> sorted(drill.revealed().faults)
    [('row-1/valve', 'coil_open')]
    >>> round(best_possible(drill), 9)  # park 1, coil 15 + 30, start 1, 3.9, hose on 1 + 5, 12
    68.9
    """
    known = drill.knowledge
    quickest = [_quickest(drill, fault) for fault in sorted(drill.revealed().faults)]
    start = known.checks[list(known.checks)[-1]].setup
    proofs = [(known.checks[name].setup, minutes) for name, minutes in _proofs(drill)]
    best = min(
        _in_order(drill, start, (*work, *proof))
        for work in permutations(quickest)
        for proof in permutations(proofs)
    )
    last = drill.revealed().states[list(known.checks)[-1]]
    prepared = [known.circumstances[name].prepare for name in last]
    warming = [p for p in prepared if p is not None and p.setup is not None]
    return best + sum(known.prepare_minutes(each) for each in warming)


def _proofs(drill: Drill) -> Iterator[tuple[str, float]]:
    """By check, minutes of what proves the machine: every row after a repair or a bad first run,
    else the rows that failed; nothing where all passed already.
    """
    hidden = drill.revealed()
    for name, check in drill.knowledge.checks.items():
        every = bool(hidden.faults or hidden.states[name])
        rows = drill.machine.rows if every else len(hidden.failed[name])
        if rows:
            yield name, check.set_up_minutes + check.minutes_per_row * rows


def _quickest(drill: Drill, fault: HiddenFault) -> tuple[str, float]:
    """The set-up and the minutes, parts included, of the cheapest remedy of a fault."""
    part, mode = fault
    kind = drill.machine.parts[part]

    def cost(remedy: Remedy) -> float:
        price = drill.knowledge.rates.price_minutes[remedy.parts_price]
        return remedy.minutes_for(len(drill.machine.rows_of(part))) + price

    able = [r for r in kind.remedies if mode in {m.id for m in kind.cleared_by(r.id)}]
    best = min(able, key=cost)
    return best.setup, cost(best)


def _in_order(drill: Drill, setup: str, acts: tuple[tuple[str, float], ...]) -> float:
    total = 0.0
    for wanted, minutes in acts:
        total += minutes + drill.knowledge.change_minutes(setup, wanted)
        setup = setup if wanted == "any" else wanted
    return total


def reason(point: DecisionPoint, move: Move, loss: float) -> str:
    """Why a move lost what it lost, in one sentence; empty when it lost nothing to speak of.

    >>> reason(None, Move("give up"), 300.0), reason(None, Move("give up"), 0.0)
    ('what was left to do was expected to take less than handing the machine over', '')
    """
    if loss < _WORTH_SAYING:
        return ""
    if move.kind in ENDS:
        return _ended(point, move)
    if point.job.to_check is not None and move.kind != "run":
        check, rows = point.job.to_check
        return f"work was done that no run had shown yet: {check} on {rows_in_words(rows)} was due"
    if not point.failed:
        return "no row failed any more: what was missing was only the full pass"
    if move.kind in ("mend", "swap"):
        return _repaired(point, move)
    return _tested(point, move)


def _ended(point: DecisionPoint, move: Move) -> str:
    if move.kind == "give up":
        return "what was left to do was expected to take less than handing the machine over"
    if not point.proof.holds:
        missing = point.proof.says.removeprefix("not proven: ")
        return f"it was declared before it was proven: {missing}"
    likely = point.declared[0]
    chance = 100 * point.there[likely]
    return f"{likely} was likelier, {chance:.0f} %"


def _repaired(point: DecisionPoint, move: Move) -> str:
    """A repair: how likely it was to help, and what was likelier."""
    problem = _problem_about(point, move)
    cleared = _chance_to_help(problem, move)
    likely = _names(point, problem)[:1]
    first = f"; likeliest was {likely[0][0].says} ({100 * likely[0][1]:.0f} %)" if likely else ""
    choice = point.plan.choice
    if point.best.kind == "ask" or (choice is not None and choice.required):
        return f"the circumstances of a failed run were not looked into before work began{first}"
    if move.kind == "mend" and cleared < UNLIKELY:
        vain = " and a part was spent on it" if _costs_a_part(point, move) else ""
        return f"it would have helped with a chance of {100 * cleared:.0f} % only{vain}{first}"
    return f"{point.best.id} first was expected to save more{first}"


def _costs_a_part(point: DecisionPoint, move: Move) -> bool:
    return point.machine.parts[move.part].remedy(move.name).parts_price != "none"


def _chance_to_help(problem: TroubleshootingProblem, move: Move) -> float:
    blame = problem.information.blame / problem.information.blame.sum()
    for repair in problem.repairs:
        if repair.candidate is not None and repair.candidate.id == move.id:
            return float(repair.fixes @ blame)
    return 0.0


def _tested(point: DecisionPoint, move: Move) -> str:
    """A test that told nothing, or less for its minutes than another."""
    problem = _problem_about(point, move)
    weighed = next((w for c, w in problem.tests if c.id == move.id), None)
    if weighed is None and move.kind == "run":
        problem = point.widened(problem, move)
        weighed = problem.information.weigh(point.candidate(move))
    names = _names(point, problem)[:2]
    ids = [cause.id for cause, _ in names]
    if weighed is None or weighed.bits < NO_BITS or _alike(problem, weighed, ids):
        if len(names) > 1:
            both = " and ".join(cause.says for cause, _ in names)
            return f"it could not tell {both} apart: they predict the same result"
        return "it told nothing: every cause predicts the same result"
    offer = next((o for c in point.choices if (o := offer_of(c, move)) is not None), None)
    took = f", {offer.minutes:.0f} minutes long," if offer is not None else ""
    return f"it{took} told less for its minutes than {point.best.id}"


def _alike(problem: TroubleshootingProblem, weighed: Weighed, names: Sequence[str]) -> bool:
    """Whether the two likeliest causes predict the same result of a test."""
    if len(names) < 2:
        return False
    pair = [problem.information.names.index(name) for name in names[:2]]
    joint = weighed.table[:, pair]
    if not joint.any(axis=0).all():
        return False
    chances = joint / joint.sum(axis=0)
    return float(np.abs(chances[:, 0] - chances[:, 1]).sum()) / 2 < SAME


def _problem_about(point: DecisionPoint, move: Move) -> TroubleshootingProblem:
    """The problem that a move is about, or the first."""
    rows = set(move.rows) or set(point.machine.rows_of(move.part) if move.part else ())
    about = (problem for problem in point.problems if rows & set(problem.group.rows))
    return next(about, point.problems[0])


def _names(point: DecisionPoint, problem: TroubleshootingProblem) -> list[tuple[Cause, float]]:
    """The blamed causes with their share, likeliest first."""
    causes: dict[str, Cause] = {cause.id: cause for cause in point.ranking.causes}
    blame = problem.information.blame / problem.information.blame.sum()
    pairs = zip(problem.information.names, blame.tolist(), strict=True)
    named = [(causes[name], share) for name, share in pairs if name in causes]
    return sorted(named, key=lambda each: -each[1])


def cause_in_words(drill: Drill, cause: str) -> str:
    """A cause for a sentence.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> cause_in_words(drill, "row-6/valve:coil_open"), cause_in_words(drill, "none")
    ('row 6, row valve: coil open', 'nothing broken')
    """
    if cause == NONE:
        return "nothing broken"
    part, _, mode = cause.partition(":")
    kind = drill.machine.parts[part]
    return f"{part_in_words(part, kind)}: {kind.mode(mode).name}"


def finished(done: Debriefing, who: str) -> Finished:
    """What is kept of a drill that somebody finished now; nothing of what it hid.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin, play
    >>> from diagnose.training.moves import Move
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> kept = finished(Judge(drill).debriefing(play(drill, [Move("give up")])), "Ann")
    >>> kept.who, kept.machine, kept.level, kept.minutes, kept.right
    ('Ann', 'mounted-6', 1, 0.0, False)
    """
    drill = done.drill
    return Finished(
        who=who,
        code=encode_drill(drill.named, drill.knowledge),
        machine=drill.machine.id,
        level=drill.named.level,
        marks=done.marks,
        minutes=round(done.sitting.minutes, 2),
        right=done.right,
        opportunities=done.opportunities,
    )
