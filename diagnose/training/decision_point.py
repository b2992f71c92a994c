"""A decision point of a drill: what is known there, what a move loses, and hints."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cached_property

from diagnose.diagnosis.causes import Ranking
from diagnose.knowledge.parts import ANY_SETUP, Measurement, Remedy, Swap
from diagnose.machine.graph import Machine
from diagnose.observations.rows import failed_rows
from diagnose.planner.advice import advice, cautions_of
from diagnose.planner.candidates import Candidate, rerun
from diagnose.planner.contingent_plan import Plan
from diagnose.planner.decide import Choice, Offer, best_choice
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.setup_state import present
from diagnose.planner.value import Weighed
from diagnose.planner.verification import Proof
from diagnose.projection import Projection
from diagnose.record import record
from diagnose.session.session import Session
from diagnose.training.moves import NONE, Move, MoveReader

PATIENT = float("inf")
"""Looking ahead is cut by depth, never by the clock, so that a moment always has one answer."""

CERTAIN_ENOUGH = 0.5
"""A cause is to be declared when it is likelier to have been there than not."""

LEFT_UNDONE = 2.0
"""How many times its minutes work costs that is left to somebody who has to find out again
(judgement)."""


@record
class Widened(TroubleshootingProblem):
    """A problem with one more test than would be thought of."""

    extra: Candidate | None = None

    @property
    def asked_again(self) -> frozenset[int]:
        """The rows of the problem's reruns, and those of the extra one."""
        assert self.extra is not None
        return super().asked_again | frozenset(self.extra.rows)

    @cached_property
    def tests(self) -> tuple[tuple[Candidate, Weighed], ...]:
        """Those of the problem, and the extra one."""
        every = super().tests
        assert self.extra is not None
        return (*every, (self.extra, self.information.weigh(self.extra)))


class PatientPlan(Plan):
    """A plan whose first act does not depend on how quick the computer is."""

    @cached_property
    def choice(self) -> Choice | None:
        """What to do first, or None when no row failed."""
        return self._chosen(PATIENT)


@record
class DecisionPoint:
    """A drill before a move; ``first`` is how many runs were made before the drill.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.events import Remedied, Run
    >>> from diagnose.observations.state import replay
    >>> opened = Opened(case="20260301-a", machine="mounted-6")
    >>> run = Run.of("response", "PPPPPF")
    >>> mended = Remedied("replace-coil", "row-6/valve")
    >>> state = replay([new_event(each, "A") for each in (opened, run, mended)])
    >>> point = DecisionPoint(Projection(state, load_knowledge(learned=False)), 1)
    >>> point.failed, point.best.id  # the run that shows what the new coil has done
    ((6,), 'response@6')
    >>> round(point.minutes_of(point.best), 9)  # start the engine 1, the check 3, the row 0.15
    4.15
    >>> point.loss(point.best), point.loss(Move("give up"))
    (0.0, 300.0)
    """

    view: Projection
    first: int

    @property
    def machine(self) -> Machine:
        """The machine."""
        return self.view.machine

    @cached_property
    def reader(self) -> MoveReader:
        """Reads the plan's ids as moves."""
        return MoveReader(self.machine, self.view.knowledge, self.first)

    @property
    def ranking(self) -> Ranking:
        """The causes."""
        return self.view.ranking

    @cached_property
    def job(self) -> Session:
        """The case in hand."""
        return Session(self.view, self.view.state.last)

    @property
    def failed(self) -> tuple[int, ...]:
        """Rows that failed last."""
        return failed_rows(self.view.state.case)

    @cached_property
    def plan(self) -> PatientPlan:
        """The plan from here."""
        return PatientPlan(self.ranking, means=self.view.means)

    @property
    def proof(self) -> Proof:
        """Whether the machine is proven good."""
        return self.plan.proof

    @property
    def hand_over(self) -> float:
        """What handing the machine over is worth, in minutes."""
        return self.view.knowledge.rates.hand_over_minutes

    @property
    def minutes_left(self) -> float:
        """Expected minutes until the machine is proven good; handing over bounds them."""
        return min(self.plan.plan_minutes, self.hand_over + self.plan.final_minutes)

    @cached_property
    def there(self) -> Mapping[str, float]:
        """By cause, how likely that part's fault was there at the start; `NONE` for no fault.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.observations.entries import Opened, new_event
        >>> from diagnose.observations.events import Remedied, Run
        >>> from diagnose.observations.state import replay
        >>> fails, passes = (Run.of("response", f"PPPPP{each}") for each in "FP")
        >>> work = Remedied("replace-valve", "row-6/valve")
        >>> begun = Opened(case="20260301-a", machine="mounted-6")
        >>> events = [begun, fails, fails, work, passes, passes]
        >>> state = replay([new_event(each, "A") for each in events])
        >>> there = DecisionPoint(Projection(state, load_knowledge(learned=False)), 2).there
        >>> there[NONE] < 0.01 < 0.7 < sum(there[id] for id in there if "row-6/valve" in id)
        True
        """
        found = {
            cause.id: cause.probability + cause.cured
            for cause in self.ranking.causes
            if cause.group != "circumstances"
        }
        sound = dict.fromkeys(self.machine.parts, (0,))
        return found | {NONE: self.ranking.posterior.probability(sound)}

    @cached_property
    def declared(self) -> tuple[str, ...]:
        """What is best declared here: all that is likelier there than not, or the likeliest.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.observations.entries import Opened, new_event
        >>> from diagnose.observations.events import Reading, Run
        >>> from diagnose.observations.state import replay
        >>> opened = Opened(case="20260301-a", machine="mounted-6")
        >>> run = Run.of("response", "PPPPPF")
        >>> shorted = Reading("coil-resistance", "row-6/valve", 0.5)
        >>> state = replay([new_event(each, "A") for each in (opened, run, shorted)])
        >>> DecisionPoint(Projection(state, load_knowledge(learned=False)), 1).declared
        ('row-6/valve:coil_shorted',)
        """
        causes = {id: chance for id, chance in self.there.items() if id != NONE}
        sure = [id for id, chance in causes.items() if chance > CERTAIN_ENOUGH]
        best = max(self.there, key=lambda each: self.there[each])
        return tuple(sorted(sure, key=lambda each: -causes[each])) or (best,)

    @cached_property
    def best(self) -> Move:
        """The planner's own next move."""
        if self.job.to_check is not None:
            check, rows = self.job.to_check
            return Move("run", check, rows)
        act = self.plan.act
        if act is not None:
            return self.reader(act.id)
        if self.proof.holds:
            return Move("declare", ",".join(self.declared))
        return Move("give up")

    @cached_property
    def problems(self) -> tuple[TroubleshootingProblem, ...]:
        """Every fault group with what can be done about it."""
        every = self.plan.groups
        return tuple(
            TroubleshootingProblem(self.ranking, group, self.view.means) for group in every
        )

    @cached_property
    def choices(self) -> tuple[Choice, ...]:
        """What is best about each fault group."""
        first = self.plan.choice
        others = (best_choice(problem, seconds=PATIENT) for problem in self.problems[1:])
        return (first, *others) if first is not None else ()

    def loss(self, move: Move) -> float:
        """Expected minutes that a move throws away."""
        if move.id == self.best.id:
            return 0.0
        if move.kind == "declare":
            return self._declaring(move)
        if move.kind == "give up":
            # Whoever comes then has the whole work still to do.
            return self.hand_over
        if move.kind == "run" and self.job.to_check is not None and self._shows_work(move):
            return 0.0
        if not self.failed:
            return self._proving(move)
        return min([*self._losses(move), self._most(move)])

    def _most(self, move: Move) -> float:
        """The most that a move can lose: what is best here can still be done after it.

        Its minutes, the way back to how the machine stands, and a check that shows its work.
        Looking ahead stops sooner after an act that promises less, so its value alone would say
        more.
        """
        known = self.view.knowledge
        back = known.change_minutes(self._setup_of(move), self._setup)
        proof = 0.0
        if move.kind in ("mend", "swap"):
            runs = [known.checks[problem.check] for problem in self.problems]
            proof = max(c.set_up_minutes + c.minutes_per_row * len(self.failed) for c in runs)
        return self.minutes_of(move) + back + proof

    def _setup_of(self, move: Move) -> str:
        """The set-up that a move leaves behind."""
        if move.kind == "run":
            return self.view.knowledge.checks[move.name].setup
        if move.kind == "ask":
            return ANY_SETUP
        kind = self.machine.parts[move.part]
        works: list[Measurement | Remedy | Swap] = [
            *kind.measurements,
            *kind.remedies,
            *kind.swaps,
        ]
        return next(each.setup for each in works if each.id == move.name)

    def _declaring(self, move: Move) -> float:
        """A worse guess, and what is left undone."""
        worth = self._worth(self.declared) - self._worth(move.name.split(","))
        undone = 0.0 if self.proof.holds else LEFT_UNDONE * self.minutes_left
        return self.hand_over * max(0.0, worth) + undone

    def _worth(self, causes: tuple[str, ...] | list[str]) -> float:
        return sum(self.there.get(each, 0.0) - CERTAIN_ENOUGH for each in causes)

    def _shows_work(self, move: Move) -> bool:
        assert self.job.to_check is not None
        check, rows = self.job.to_check
        return move.name == check and set(rows) <= set(move.rows)

    def _proving(self, move: Move) -> float:
        """Where no row fails: first what is exchanged goes back, then the full runs are made.

        Part of a run proves nothing, nor does one before its turn.
        """
        if self.proof.exchanged:
            places = {move.part, move.other}
            back = (
                {e.work.part, e.work.other} for e in self.proof.exchanged if e.swap.id == move.name
            )
            return 0.0 if places in back else self.minutes_of(move)
        check, rows = next(iter(self.proof.missing), ("", ()))
        proves = move.kind == "run" and move.name == check and set(rows) <= set(move.rows)
        return 0.0 if proves else self.minutes_of(move)

    def _losses(self, move: Move) -> Iterator[float]:
        """What the move loses, seen from each fault group that it is about."""
        for problem, choice in zip(self.problems, self.choices, strict=True):
            offer = offer_of(choice, move)
            if offer is None and move.kind == "run" and set(move.rows) & set(problem.group.rows):
                offer = offer_of(best_choice(self.widened(problem, move), seconds=PATIENT), move)
            if offer is not None:
                yield max(0.0, offer.value - choice.value)

    def widened(self, problem: TroubleshootingProblem, move: Move) -> TroubleshootingProblem:
        """The problem in which a run that nobody would have thought of is thought of too."""
        return Widened(problem.ranking, problem.group, problem.means, self.candidate(move))

    def candidate(self, move: Move) -> Candidate:
        """A run as something to do next."""
        return rerun(self.ranking.evidence, move.name, move.rows, self.failed)

    def minutes_of(self, move: Move) -> float:
        """Minutes of a move here, with its change of set-up, and of the parts that it takes."""
        known, standing = self.view.knowledge, self._setup
        if move.kind == "ask":
            ask = known.circumstances[move.name].ask
            return ask.minutes if ask else 0.0
        if move.kind == "run":
            check = known.checks[move.name]
            minutes = check.set_up_minutes + check.minutes_per_row * len(move.rows)
            return minutes + known.change_minutes(standing, check.setup)
        kind = self.machine.parts[move.part]
        if move.kind == "read":
            read = kind.measurement(move.name)
            return read.minutes + known.change_minutes(standing, read.setup)
        if move.kind == "swap":
            swap = kind.swap(move.name)
            return swap.minutes + known.change_minutes(standing, swap.setup)
        remedy = kind.remedy(move.name)
        minutes = remedy.minutes_for(len(self.machine.rows_of(move.part)))
        price = known.rates.price_minutes[remedy.parts_price]
        return minutes + price + known.change_minutes(standing, remedy.setup)

    @property
    def _setup(self) -> str:
        return present(self.ranking.evidence).setup


def offer_of(choice: Choice, move: Move) -> Offer | None:
    """The offer that is this move, if it is among them."""
    return next((each for each in choice.offers if each.candidate.id == move.id), None)


READ_WITH: Mapping[str, str] = {
    "none": "look",
    "meter": "measure volts or ohms",
    "gauge": "read a gauge",
    "display": "see what the controller has stored",
}
"""By tool, what somebody does who reads something with it."""


def worded(point: DecisionPoint) -> str:
    """What to think of, without naming the act.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin, play
    >>> from diagnose.training.policies import decision_point_of
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> row = decision_point_of(play(drill, [])).failed[0]
    >>> mended = play(drill, [Move("mend", "replace-coil", part=f"row-{row}/valve")])
    >>> worded(decision_point_of(mended))
    'work that no run has shown is a guess: run the check that shows it'
    """
    move = point.best
    if point.job.to_check is not None:
        return "work that no run has shown is a guess: run the check that shows it"
    if move.kind == "declare":
        return "it is proven; say what it was"
    if move.kind == "give up":
        return "what is left costs more than it is worth: somebody else may go on"
    if not point.failed:
        return "nothing fails any more; what is missing to prove it?"
    return _about(point, move)


def _about(point: DecisionPoint, move: Move) -> str:
    match move.kind:
        case "ask":
            return "is every run to be believed? Somebody may know how it was made"
        case "run":
            wide = set(move.rows) - set(point.failed)
            along = " with rows along that passed" if wide else ""
            return f"what would happen in another run? Run the {move.name} check{along}"
        case "swap":
            return f"let something of {_where(point, move)} change places with its neighbour"
        case "read":
            tool = point.machine.parts[move.part].measurement(move.name).tool
            return f"{READ_WITH[tool]} before you mend: {_where(point, move)}"
        case _:
            return f"one cause is likely enough, and mending it is quick: {_where(point, move)}"


def _where(point: DecisionPoint, move: Move) -> str:
    rows = point.machine.rows_of(move.part)
    return f"row {rows[0]}" if len(rows) == 1 else f"what {len(rows)} rows share"


def cautions(point: DecisionPoint, move: Move) -> tuple[str, ...]:
    """What to beware of when a move is made on a machine."""
    act = point.plan.act
    if act is not None and act.id == move.id:
        return tuple(cautions_of(act, advice(point.ranking, (), [act])))
    return plain_cautions(point, move)


def plain_cautions(point: DecisionPoint, move: Move) -> tuple[str, ...]:
    """The cautions that the act itself carries.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin, play
    >>> from diagnose.training.policies import decision_point_of
    >>> from diagnose.knowledge.base import load_knowledge
    >>> point = decision_point_of(play(begin(DrillName("mounted-6", 1, 7), load_knowledge()), []))
    >>> plain_cautions(point, Move("read", "coil-resistance", part="row-2/valve"))
    ('A coil that was driven for long is hot.',)
    """
    known = point.view.knowledge
    if move.kind == "run":
        return known.checks[move.name].cautions
    if not move.part:
        return ()
    kind = point.machine.parts[move.part]
    works: list[Measurement | Remedy | Swap] = [*kind.measurements, *kind.remedies, *kind.swaps]
    return tuple(each.caution for each in works if each.id == move.name and each.caution)
