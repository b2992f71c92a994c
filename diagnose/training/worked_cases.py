"""Worked cases: read, played against the engine, and what of the knowledge they cover."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import Field

from diagnose.api import rank
from diagnose.diagnosis.causes import CAUSE_GROUPS, Cause, Ranking
from diagnose.errors import FileProblems, Place, Problem
from diagnose.formats.model import Chance, Id, Strict, Text, read_model
from diagnose.formats.value_problem import FieldFault, Wrong
from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import Machine, load_machine
from diagnose.observations.typed import read_typed
from diagnose.paths import shipped, yaml_files
from diagnose.planner.contingent_plan import Plan
from diagnose.record import record
from diagnose.rules.loading import load_rules

INVENTED = "Invented."

Next = Literal["rerun", "measure", "look", "ask", "swap", "remedy", "prove", "proven", "hand over"]
"""What is done next: a kind of act, the proving run, or how the case ends."""


class _Step(Strict):
    """What somebody told, and what follows from all that was told so far.

    Parameters
    ----------
    told: words as ``rowfault rank`` takes them; a run comes with its own circumstances.
    leads: the likeliest cause; None where no cause is worth naming.
    at_least: how probable that is at least.
    unlikely: causes, or groups of causes, that together stay below a tenth.
    patterns: rules that name what the eye sees; each has found something.
    next: the kind of the next act; ``at`` narrows it to an act's id.
    because: why, in words.
    """

    told: Annotated[tuple[Text, ...], Field(min_length=1)]
    leads: Text | None = None
    at_least: Chance = 0.0
    unlikely: tuple[Text, ...] = ()
    patterns: tuple[Text, ...] = ()
    next: Next
    at: Text | None = None
    because: Text


class Worked(Strict):
    """A worked case."""

    form: Literal["rowfault/worked/1"] = Field(alias="schema")
    id: Id
    title: Text
    topics: Annotated[tuple[Text, ...], Field(min_length=1)]
    machine: Text
    situation: Text
    steps: Annotated[tuple[_Step, ...], Field(min_length=1)]
    lesson: Text

    def faults(self) -> Iterator[FieldFault]:
        """A situation that does not say that it is invented.

        >>> step = {"told": ["bleed=pass:all"], "next": "proven", "because": "All passed."}
        >>> texts = dict.fromkeys(("id", "title", "machine", "lesson"), "a")
        >>> texts |= {"schema": "rowfault/worked/1", "situation": "Row 5."}
        >>> case = Worked(topics=["a"], steps=[step], **texts)
        >>> [(path, wrong.expected, wrong.got) for path, wrong in case.faults()]
        [(('situation',), 'Invented. first', 'Row 5.')]
        """
        if not self.situation.startswith(INVENTED):
            yield ("situation",), Wrong(f"{INVENTED} first", self.situation[:20])


def read_worked(path: Path) -> Worked:
    """The worked case in a file. Raises `FileProblems` with everything that is wrong in it.

    >>> case = read_worked(shipped().casebook / "worked" / "swapped-coil.yaml")
    >>> case.title, case.machine, [step.next for step in case.steps]
    ('The problem that followed the coil', 'mounted-12', ['measure', 'remedy', 'prove', 'proven'])
    """
    worked = read_model(path, Worked)
    if worked.id != path.stem:
        expected = f"id: {path.stem}, as the file is called"
        where = Place(str(path))
        raise FileProblems([Problem(where, expected, worked.id, "rename one of them")])
    return worked


def worked_cases() -> tuple[Worked, ...]:
    """The worked cases that ship, in order of id. Raises `FileProblems`.

    >>> all(case.situation.startswith(INVENTED) for case in worked_cases())
    True
    """
    return tuple(read_worked(path) for path in yaml_files(shipped().casebook / "worked"))


_SMALL = 0.1
"""What is called unlikely has less than this."""


@record
class Played:
    """Where a case stands after one of its steps.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.paths import shipped
    >>> from diagnose.training.worked_cases import read_worked
    >>> case = read_worked(shipped().casebook / "worked" / "all-well.yaml")
    >>> [end] = play_through(case, load_knowledge(learned=False))
    >>> end.next, end.at, list(end.disagreements())
    ('proven', '', [])
    """

    machine: Machine
    step: _Step
    ranking: Ranking

    @cached_property
    def plan(self) -> Plan:
        """What to do next."""
        return Plan(self.ranking, depth=1)

    @property
    def leading(self) -> Cause:
        """The likeliest cause."""
        return self.ranking.causes[0]

    @property
    def next(self) -> str:
        """The kind of the next act, or how the case ends, in the words of `Step.next`."""
        act = self.plan.act
        if act is None:
            return "proven" if self.plan.proof.holds else "hand over"
        return "prove" if not self.plan.groups else act.kind

    @property
    def at(self) -> str:
        """The next act's id."""
        return self.plan.act.id if self.plan.act else ""

    @cached_property
    def rules(self) -> frozenset[str]:
        """The rules that found something, those about the next act included."""
        from diagnose.planner.advice import advice  # noqa: PLC0415 (slow; for whoever counts rules)

        acts = [self.plan.act] if self.plan.act else []
        said = advice(self.ranking, self.ranking.causes[:1], acts)
        return frozenset(one.rule for one in (*self.ranking.evidence.findings, *said))

    def disagreements(self) -> Iterator[str]:
        """Where the engine says something else than the case expects."""
        step, leading = self.step, self.leading
        if step.leads is not None and step.leads != leading.id:
            yield f"expected {step.leads} to lead, got {leading.id} at {leading.probability:.3f}"
        if leading.probability < step.at_least:
            yield f"expected at least {step.at_least:g}, got {leading.probability:.3f}"
        for name in step.unlikely:
            if self._chance(name) >= _SMALL:
                yield f"expected {name} to be unlikely, got {self._chance(name):.3f}"
        for rule in step.patterns:
            if rule not in self.rules:
                yield f"expected the rule {rule} to find something, got nothing"
        if step.next != self.next:
            yield f"expected next {step.next}, got {self.next} {self.at}"
        if step.at is not None and step.at != self.at:
            yield f"expected next {step.at}, got {self.at}"

    def _chance(self, name: str) -> float:
        if name in CAUSE_GROUPS:
            return self.ranking.groups[name]
        return sum(cause.probability for cause in self.ranking.causes if cause.id == name)


def play_through(worked: Worked, knowledge: Knowledge) -> Iterator[Played]:
    """The case step by step, each with everything that was told until then.

    Raises `FileProblems` for words that cannot be used, `UnknownName` for the machine.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.paths import shipped
    >>> from diagnose.training.worked_cases import read_worked
    >>> case = read_worked(shipped().casebook / "worked" / "swapped-coil.yaml")
    >>> for step in play_through(case, load_knowledge(learned=False)):
    ...     print(len(step.ranking.evidence.case.runs), step.step.next)
    2 measure
    3 remedy
    4 prove
    5 proven
    """
    machine = load_machine(worked.machine, knowledge)
    case = None
    for step in worked.steps:
        case = read_typed(machine, step.told, knowledge, case)
        yield Played(machine, step, rank(machine, case, knowledge))


WORTH_NAMING = 0.05
"""A mode counts as met where it was at least so probable."""


@record
class Coverage:
    """Per sort of thing, what was met and all that there is, in order."""

    met: Mapping[str, frozenset[str]]
    every: Mapping[str, tuple[str, ...]]

    def missing(self, sort: str) -> tuple[str, ...]:
        """What no worked case exercises.

        >>> found = Coverage({"acts": frozenset({"swap"})}, {"acts": ("ask", "swap", "look")})
        >>> found.missing("acts")
        ('ask', 'look')
        """
        return tuple(name for name in self.every[sort] if name not in self.met[sort])


def coverage(cases: Iterable[Worked], knowledge: Knowledge) -> Coverage:
    """What some worked cases exercise of layouts, part kinds, modes, rules and kinds of act.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.paths import shipped
    >>> from diagnose.training.worked_cases import read_worked
    >>> case = read_worked(shipped().casebook / "worked" / "all-well.yaml")  # two passes, proven
    >>> found = coverage([case], load_knowledge(learned=False))
    >>> sorted(found.met["layouts"]), sorted(found.met["acts"])
    (['mounted-12'], ['proven'])
    >>> [name in found.missing("patterns") for name in ("nothing-failed", "one-row-alone")]
    [False, True]
    """
    every = _every(knowledge)
    met: dict[str, set[str]] = {sort: set() for sort in every}
    for worked in cases:
        met["layouts"].add(worked.machine)
        for step in play_through(worked, knowledge):
            _count(met, step)
    return Coverage({sort: frozenset(met[sort]).intersection(every[sort]) for sort in every}, every)


def _every(knowledge: Knowledge) -> dict[str, tuple[str, ...]]:
    rules = load_rules().rules
    return {
        "layouts": tuple(knowledge.layouts),
        "part kinds": tuple(knowledge.parts),
        "modes": tuple(f"{k}:{m.id}" for k, kind in knowledge.parts.items() for m in kind.modes),
        "patterns": tuple(rule.id for rule in rules if rule.group == "patterns"),
        "rules": tuple(rule.id for rule in rules),
        "acts": get_args(Next),
    }


def _count(met: Mapping[str, set[str]], step: Played) -> None:
    parts = step.machine.parts
    for cause in step.ranking.causes:
        likely = max(cause.probability, cause.cured)
        if cause.part in parts and likely >= WORTH_NAMING:
            met["part kinds"].add(parts[cause.part].id)
            met["modes"].add(f"{parts[cause.part].id}:{cause.mode}")
    met["rules"].update(step.rules)
    met["patterns"].update(step.rules)
    met["acts"].add(step.next)
