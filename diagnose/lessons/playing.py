"""A worked case against the engine: what is really likely and to be done after every step."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from diagnose.api import rank
from diagnose.knowledge.base import Knowledge
from diagnose.lessons.worked import Step, Worked
from diagnose.machine.graph import Machine, load_machine
from diagnose.observations.typed import read_typed
from diagnose.ranking.causes import GROUPS, Cause, Ranking
from diagnose.record import record
from diagnose.retest.plan import Plan

SMALL = 0.1
"""What is called unlikely has less than this."""


@record
class Played:
    """Where a case stands after one of its steps.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.knowledge.places import shipped
    >>> from diagnose.lessons.worked import read_worked
    >>> case = read_worked(shipped().casebook / "worked" / "all-well.yaml")
    >>> [end] = played(case, load_knowledge(learned=False))
    >>> end.next, end.at, list(end.disagreements())
    ('proven', '', [])
    """

    machine: Machine
    step: Step
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
        return "prove" if not self.plan.troubles else act.kind

    @property
    def at(self) -> str:
        """The next act's id."""
        return self.plan.act.id if self.plan.act else ""

    @cached_property
    def rules(self) -> frozenset[str]:
        """The rules that found something, those about the next act included."""
        from diagnose.advice import advice  # noqa: PLC0415 (slow; for whoever counts rules)

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
            if self._chance(name) >= SMALL:
                yield f"expected {name} to be unlikely, got {self._chance(name):.3f}"
        for rule in step.patterns:
            if rule not in self.rules:
                yield f"expected the rule {rule} to find something, got nothing"
        if step.next != self.next:
            yield f"expected next {step.next}, got {self.next} {self.at}"
        if step.at is not None and step.at != self.at:
            yield f"expected next {step.at}, got {self.at}"

    def _chance(self, name: str) -> float:
        if name in GROUPS:
            return self.ranking.groups[name]
        return sum(cause.probability for cause in self.ranking.causes if cause.id == name)


def played(worked: Worked, knowledge: Knowledge) -> Iterator[Played]:
    """The case step by step, each with everything that was told until then.

    Raises `FileProblems` for words that cannot be used, `UnknownName` for the machine.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.knowledge.places import shipped
    >>> from diagnose.lessons.worked import read_worked
    >>> case = read_worked(shipped().casebook / "worked" / "swapped-coil.yaml")
    >>> for step in played(case, load_knowledge(learned=False)):
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
