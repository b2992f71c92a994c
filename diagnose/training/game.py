"""A drill as a pure function: the drill and the moves so far give what was seen.

Nothing is remembered between calls, so a drill can be taken up anywhere from its code and its
moves. The luck of a move depends on the drill, the move, and how often that move was made before;
what else was done, and when, changes none of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property

from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import Machine, load_machine
from diagnose.observations.entries import Answered, Event, Opened, Skipped, Statement, new_event
from diagnose.observations.events import History, Reading, Remedied, Run, Swapped
from diagnose.record import record
from diagnose.training.drawing import Hidden, draw_fault, visible_circumstances
from diagnose.training.keyed_rng import KeyedRandom, digest
from diagnose.training.level import Drills, Level, load_drills
from diagnose.training.moves import ENDS, Move
from diagnose.training.share_code import DrillName, fingerprint
from diagnose.training.world import World

BEGINS = datetime(2026, 3, 1, 8, tzinfo=UTC)
"""When every drill begins; an invented morning."""

_MOST_SHARED, _MOST_REPAIRS = 8, 12
"""So much work on parts that several rows share, and in all, ends a drill: the machine goes to
somebody else (judgement; whoever has come so far guesses). No sooner than the planner hands over,
see `diagnose.planner.tried`.
"""

WHO = "apprentice"
NOBODY_KNOWS = "nobody knows"


@record
class DrillStep:
    """One move as it went: minutes, parts at their rate, what became known, and what else
    had to be done first, in words.
    """

    move: Move
    minutes: float
    parts_minutes: float
    facts: tuple[Statement, ...]
    besides: tuple[str, ...] = ()


@record
class Sitting:
    """A drill after some moves."""

    drill: Drill
    steps: tuple[DrillStep, ...]
    setup: str

    @property
    def moves(self) -> tuple[Move, ...]:
        """What was done.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
        >>> done = play(drill, [Move("run", "bleed", (1, 2)), Move("give up"), Move("ask", "oil")])
        >>> [move.id for move in done.moves]
        ['bleed@1-2', 'give-up']
        """
        return tuple(step.move for step in self.steps)

    @property
    def over(self) -> bool:
        """Whether the drill has ended.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
        >>> play(drill, []).over, play(drill, [Move("declare", "none")]).over
        (False, True)
        """
        return self.called_off or (bool(self.steps) and self.steps[-1].move.kind in ENDS)

    @property
    def called_off(self) -> bool:
        """Whether too much was mended, so that the machine goes to somebody else.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
        >>> coils = [Move("mend", "replace-coil", part=f"row-{row}/valve") for row in range(1, 7)]
        >>> play(drill, coils).called_off, play(drill, 2 * coils).called_off  # 6 of 12, 12 of 12
        (False, True)
        """
        repaired = [move.part for move in self.moves if move.kind in ("mend", "swap")]
        shared = [part for part in repaired if len(self.drill.machine.rows_of(part)) > 1]
        return len(shared) >= _MOST_SHARED or len(repaired) >= _MOST_REPAIRS

    @property
    def minutes(self) -> float:
        """Minutes of work.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
        >>> done = play(drill, [Move("mend", "replace-coil", part="row-1/valve")])
        >>> done.minutes  # 1 to park the running machine, 15 for the coil
        16.0
        """
        return sum(step.minutes for step in self.steps)

    @property
    def cost(self) -> float:
        """Minutes of work, and parts at their stated rate.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
        >>> done = play(drill, [Move("mend", "replace-coil", part="row-1/valve")])
        >>> done.cost  # 16 minutes, and 30 for a part of medium price
        46.0
        """
        return self.minutes + sum(step.parts_minutes for step in self.steps)

    @cached_property
    def events(self) -> tuple[Event, ...]:
        """The story so far, as any case has it.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
        >>> done = play(drill, [Move("mend", "replace-coil", part="row-1/valve")])
        >>> [event.what.kind for event in done.events]
        ['opened', 'history', 'run', 'run', 'remedy']
        """
        return (*self.drill.opening, *self.drill.events_of(self.steps))


@record
class Drill:
    """One drill: a machine, a level, a seed. What it hides is drawn when it is first needed."""

    named: DrillName
    machine: Machine
    knowledge: Knowledge
    drills: Drills = field(default_factory=load_drills, repr=False)

    @property
    def level(self) -> Level:
        """What is drawn at its level.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> begin(DrillName("mounted-6", 2, 7), load_knowledge(learned=False)).level.name
        'a shared part'
        """
        return self.drills.level(self.named.level)

    @cached_property
    def mark(self) -> bytes:
        """The fingerprint of what it is drawn from."""
        return fingerprint(self.machine.id, self.knowledge)

    @cached_property
    def _hidden(self) -> Hidden:
        return draw_fault(self.named, self.machine, self.knowledge, self.level)

    def revealed(self) -> Hidden:
        """What it hid: for the debriefing only."""
        return self._hidden

    @cached_property
    def opening(self) -> tuple[Event, ...]:
        """What is known at the start: the machine's past, and a full run of every check.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> history = begin(DrillName("mounted-6", 1, 7), load_knowledge()).opening[1]
        >>> f"{history.at:%H:%M}", history.what.values["first-hookup"]
        ('08:00', 'no')
        """
        case = f"{BEGINS:%Y%m%d}-drill"
        past = {each.id: each.states[0].id for each in self.knowledge.of_scope("case").values()}
        opened = Opened(case=case, machine=self.machine.id)
        return (
            self._event(0, opened, 0.0),
            self._event(1, History(past), 0.0),
            *(self._event(2 + n, self._first(c), 0.0) for n, c in enumerate(self.knowledge.checks)),
        )

    def _first(self, check: str) -> Run:
        """The first run of a check, with what of its circumstances is told."""
        failed = self._hidden.failed[check]
        rows = range(1, self.machine.rows + 1)
        untold = self.level.untold
        states = self._hidden.states[check]
        shown = {
            name: value for name, value in self.values(check, states).items() if name not in untold
        }
        pattern = "".join("F" if row in failed else "P" for row in rows)
        return Run.of(check, pattern, shown)

    def values(self, check: str, states: Mapping[str, str]) -> dict[str, float | str]:
        """What would be noted down of a run's circumstances; they are good but for ``states``.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
        >>> drill.values("response", {"oil": "cold"})
        {'bleed-hose': 'stowed', 'engine': 'on', 'moving': 'no', 'oil': 8.0, 'supply': 180.0}
        """
        return {
            each.id: self.drills.value(
                each.id, check, states.get(each.id, each.good_state(check).id)
            )
            for each in visible_circumstances(self.knowledge)
        }

    def first_run(self, number: int) -> tuple[str, Event]:
        """The check and the event of one of the first runs, counted from 1.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> check, event = begin(DrillName("mounted-6", 1, 7), load_knowledge()).first_run(2)
        >>> check, event.what.check
        ('response', 'response')
        """
        check = list(self.knowledge.checks)[number - 1]
        return check, self.opening[1 + number]

    def _event(self, number: int, what: Opened | Statement, minutes: float) -> Event:
        id = digest(16, "event", self.named.seed, self.machine.id, number).hex()
        at = BEGINS + timedelta(minutes=minutes)
        return replace(new_event(what, WHO, at), id=id)

    def events_of(self, steps: Sequence[DrillStep]) -> list[Event]:
        """What was told in some steps, each with its time.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
        >>> done = play(drill, [Move("mend", "replace-coil", part="row-1/valve")])  # 16 minutes
        >>> [f"{event.at:%H:%M}" for event in drill.events_of(done.steps)]
        ['08:16']
        """
        found: list[Event] = []
        minutes = 0.0
        for step in steps:
            minutes += step.minutes
            for what in step.facts:
                number = len(self.opening) + len(found)
                found.append(self._event(number, what, minutes))
        return found


def begin(named: DrillName, knowledge: Knowledge) -> Drill:
    """The drill of that name. Raises `UnknownName` for its machine or level, or `FileProblems`.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> [event.what.kind for event in drill.opening]
    ['opened', 'history', 'run', 'run']
    """
    drills = load_drills()
    drills.level(named.level)
    return Drill(named, load_machine(named.machine, knowledge), knowledge, drills)


def play(drill: Drill, moves: Sequence[Move]) -> Sitting:
    """The drill after the moves; what comes after an end does not count.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> done = play(drill, [Move("run", "response", (1, 2))])
    >>> done.minutes, len(done.events)
    (3.3, 5)
    """
    table = _Table(drill)
    for move in moves:
        table.do(move)
        if move.kind in ENDS:
            break
    return Sitting(drill, tuple(table.steps), table.world.setup)


class _Table:
    """The hidden world while moves are played on it."""

    def __init__(self, drill: Drill) -> None:
        self.drill = drill
        hidden, known = drill.revealed(), drill.knowledge
        self.world = World(drill.machine, known, set(hidden.faults), self._luck("start", 0))
        self.world.setup = known.checks[list(known.checks)[-1]].setup
        self.bad = {check: dict(states) for check, states in hidden.states.items()}
        self.steps: list[DrillStep] = []
        self.done: dict[str, int] = {}

    def _luck(self, id: str, times: int) -> KeyedRandom:
        named = self.drill.named
        return KeyedRandom(
            "move", self.drill.mark, named.machine, named.level, named.seed, id, times
        )

    def do(self, move: Move) -> None:
        """Play one move."""
        times = self.done.get(move.id, 0)
        self.done[move.id] = times + 1
        self.world.rng = self._luck(move.id, times)
        minutes, parts = self.world.minutes, self.world.parts_minutes
        facts, besides = self._done(move)
        self.steps.append(
            DrillStep(
                move,
                self.world.minutes - minutes,
                self.world.parts_minutes - parts,
                tuple(facts),
                tuple(besides),
            )
        )

    def _done(self, move: Move) -> tuple[list[Statement], list[str]]:
        match move.kind:
            case "run":
                return self._run(move)
            case "read":
                return self._read(move), []
            case "mend":
                wants = self.drill.machine.parts[move.part].remedy(move.name).wants
                facts, besides = self._entered(wants)
                self.world.repair(move.name, move.part)
                return [*facts, Remedied(move.name, move.part)], besides
            case "swap":
                self.world.swap(move.name, move.part, move.other)
                return [Swapped(move.name, move.part, move.other)], []
            case "ask":
                return self._asked(move), []
        return [], []

    def _run(self, move: Move) -> tuple[list[Statement], list[str]]:
        """A run made as it should be: what is not right is put right first."""
        check = self.drill.knowledge.checks[move.name]
        facts, besides = self._entered(check.wants)
        for name in self.bad[move.name]:
            self.world.minutes += self._prepare_minutes(name)
        self.bad[move.name] = {}
        failed = self.world.run(move.name, move.rows)
        letters = ["."] * self.drill.machine.rows
        for row, fails in failed.items():
            letters[row - 1] = "F" if fails else "P"
        known = self.drill.values(move.name, {})
        facts.append(Run.of(move.name, "".join(letters), known))
        return facts, besides

    def _prepare_minutes(self, name: str) -> float:
        prepare = self.drill.knowledge.circumstances[name].prepare
        return prepare.minutes if prepare else 0.0

    def _entered(self, wants: Sequence[str]) -> tuple[list[Statement], list[str]]:
        """What should last is put in place where it lacks; how it was before is seen then."""
        facts: list[Statement] = []
        besides: list[str] = []
        for circumstance in visible_circumstances(self.drill.knowledge):
            prepare = circumstance.prepare
            last = list(self.bad)[-1]
            lacks = circumstance.id in self.bad[last]
            if prepare is None or prepare.setup not in wants or not lacks:
                continue
            run = len(self.bad)
            value = self._first_value(circumstance.id, run)
            facts.append(self._answer(circumstance.id, run, value))
            minutes = self.drill.knowledge.prepare_minutes(prepare)
            self.world.minutes += minutes
            besides.append(circumstance.id)
            for states in self.bad.values():
                states.pop(circumstance.id, None)
        return facts, besides

    def _first_value(self, name: str, run: int) -> float | str:
        check, _ = self.drill.first_run(run)
        return self.drill.values(check, self.drill.revealed().states[check])[name]

    def _answer(self, name: str, run: int, value: float | str) -> Answered:
        _, event = self.drill.first_run(run)
        return Answered(run=event.id, circumstance=name, value=value)

    def _read(self, move: Move) -> list[Statement]:
        result = self.world.read(move.name, move.part)
        supply = self._supply()
        shown = self.drill.drills.reading(move.name, result, supply)
        value: float | str = shown if shown is not None else "no" if result == "good" else "yes"
        return [Reading(move.name, move.part, value)]

    def _supply(self) -> float:
        """What the supply gauge showed in the last run."""
        facts = [event.what for event in self.drill.opening]
        facts += [fact for step in self.steps for fact in step.facts]
        runs = [fact for fact in facts if isinstance(fact, Run)]
        known = [run.circumstances.get("supply") for run in runs]
        numbers = [value for value in known if isinstance(value, float)]
        return numbers[-1] if numbers else 0.0

    def _asked(self, move: Move) -> list[Statement]:
        """The answer; to a question about the past it was told at the start."""
        ask = self.drill.knowledge.circumstances[move.name].ask
        self.world.minutes += ask.minutes if ask else 0.0
        if not move.run:
            return []
        named = self.drill.named
        spin = KeyedRandom("memory", named.machine, named.level, named.seed, move.id).random()
        if move.name in self.drill.level.untold and spin < self.drill.level.forgotten:
            return [Skipped(act=move.id, reason=NOBODY_KNOWS)]
        return [self._answer(move.name, move.run, self._first_value(move.name, move.run))]
