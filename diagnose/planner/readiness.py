"""What to see to before the checks, on this machine under these circumstances.

Everything comes from the knowledge data: circumstances and
their good states, set-ups, the machine's bleed ports, and looks at what every row shares.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Literal

from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.model import Model
from diagnose.errors import Place, Problem, quoted
from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.circumstances import Circumstance
from diagnose.knowledge.parts import PARKED, Measurement, part_in_words
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.collecting import collected, refuse
from diagnose.observations.events import Circumstances, History, Run
from diagnose.observations.result import Result
from diagnose.observations.typed import parse_word
from diagnose.observations.values import told_apart
from diagnose.record import record
from diagnose.rules.conclude import conclude_case

LIKELY = 0.001
"""A look at what every row shares is worth its minutes when it finds something so often.

Judgement: with the priors that ship this keeps lever, couplers, return and oil, and little else.
"""

BEFORE, EVERY = "before the engine runs", "for every check"
"""When a thing is seen to; what one check alone wants stands under its name."""

_Standing = Literal["good", "bad", "to see to"]


@record
class ReadinessItem:
    """One thing to see to: when, what it is about, how it stands, what is done, minutes."""

    id: str
    when: str
    about: str
    standing: _Standing
    says: str
    does: str
    minutes: float
    cautions: tuple[str, ...] = ()


@record
class Readiness:
    """A machine before its checks, and what was said of it.

    Parameters
    ----------
    run: what is known of the checks to come, by circumstance of runs.
    past: what is known of the machine's past, by circumstance of cases.
    """

    machine: Machine
    knowledge: Knowledge
    run: Mapping[str, float | str]
    past: Mapping[str, str]

    @cached_property
    def evidence(self) -> Evidence:
        """What the rules make of what was said, as if each check were about to begin."""
        results = (Result.UNSURE,) * self.machine.rows
        case = Case(self.machine.id, history=self.past)
        for check in self.knowledge.checks:
            case = case.then(Run(0, check, results, dict(self.run)))
        findings = conclude_case(self.machine, case, self.knowledge)
        return Evidence(Model(self.machine, self.knowledge), case, findings)

    @cached_property
    def items(self) -> tuple[ReadinessItem, ...]:
        """Everything to see to, in the order in which it is done.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> ready = Readiness(load_machine("mounted-6"), load_knowledge(), {"engine": "off"}, {})
        >>> [(item.says, item.does, item.minutes) for item in ready.items if item.standing == "bad"]
        [('not running', 'Start the engine.', 2.0)]
        """
        return (self._parked(), *self._looks(), *self._ports(), *self._circumstances())

    def _parked(self) -> ReadinessItem:
        parked = self.knowledge.setups[PARKED]
        return ReadinessItem(
            PARKED, BEFORE, parked.name, "to see to", parked.says, parked.says, 0.0
        )

    def _looks(self) -> Iterator[ReadinessItem]:
        """Looks at oil parts that every row shares, the likeliest find first."""
        found = [
            (self._find(part, look), part, look)
            for part, kind in self.machine.parts.items()
            if kind.side == "oil" and kind.reach == "machine"
            for look in kind.measurements
            if look.kind == "look" and look.tool == "none"
        ]
        for chance, part, look in sorted(found, key=lambda each: -each[0]):
            if chance >= LIKELY:
                yield self._look(part, look)

    def _find(self, part: str, look: Measurement) -> float:
        """How often a look finds something, by the priors with what is known of the past."""
        return sum(
            float(self.evidence.part_prior[self.evidence.model.flat(part, mode.id)])
            * max(result.sees.get(mode.id, 0.0) for result in look.results)
            for mode in self.machine.parts[part].modes
        )

    def _look(self, part: str, look: Measurement) -> ReadinessItem:
        about = part_in_words(part, self.machine.parts[part])
        cautions = (look.caution,) if look.caution else ()
        id = f"{look.id}@{part}"
        return ReadinessItem(
            id, BEFORE, about, "to see to", look.says, look.says, look.minutes, cautions
        )

    def _ports(self) -> Iterator[ReadinessItem]:
        """Every bleed port with the rows whose air leaves through it."""
        for port, row in self.machine.port_rows.items():
            part = f"{port}/port"
            for look in self.machine.parts[part].measurements:
                if look.kind == "look" and look.tool == "none":
                    seen = self._look(part, look)
                    about = f"{port}, bleed port at row {row}"
                    yield ReadinessItem(seen.id, BEFORE, about, *_rest(seen))

    def _circumstances(self) -> Iterator[ReadinessItem]:
        """The circumstances of runs: what all checks want alike first, then check by check."""
        wanted = [
            (kind, check)
            for kind in self.knowledge.of_scope("run").values()
            if kind.prepare is not None and kind.value != "none"
            for check in self.knowledge.checks
        ]
        found = {(kind.id, check): self._circumstance(kind, check) for kind, check in wanted}
        alike = {
            kind.id for kind, _ in wanted if len({found[kind.id, c] for c in self._checks}) == 1
        }
        for when in (EVERY, *self._checks):
            for kind, check in wanted:
                shared = kind.id in alike
                first = check == self._checks[0]
                if (when == EVERY and shared and first) or (when == check and not shared):
                    item = found[kind.id, check]
                    yield ReadinessItem(kind.id, when, kind.name, *_rest(item))

    @property
    def _checks(self) -> list[str]:
        return list(self.knowledge.checks)

    def _circumstance(self, kind: Circumstance, check: str) -> ReadinessItem:
        """How one circumstance stands for one check."""
        assert kind.prepare is not None
        good, value = kind.good_state(check), self.run.get(kind.id)
        standing: _Standing = "to see to"
        says = f"wanted: {good.name}"
        if value is not None:
            bad = self._bad(kind.id, check)
            standing = "bad" if bad else "good"
            said = told_apart(kind, value)[0] if isinstance(value, float) else value
            state = bad or (good.name if isinstance(value, float) else kind.state(value).name)
            says = f"{said}, {state}" if isinstance(value, float) else state
        does, cautions = kind.prepare.does, kind.prepare.cautions
        minutes = self.knowledge.prepare_minutes(kind.prepare)
        if standing == "good":
            return ReadinessItem(kind.id, "", kind.name, standing, says, "", 0.0)
        return ReadinessItem(kind.id, "", kind.name, standing, says, does, minutes, cautions)

    def _bad(self, circumstance: str, check: str) -> str:
        """The bad state that the rules found, in words; empty when it is good."""
        run = next(run for run in self.evidence.case.runs if run.check == check)
        found = self.evidence.known_bad(run).get(circumstance)
        return found.name if found else ""


def _rest(item: ReadinessItem) -> tuple[_Standing, str, str, float, tuple[str, ...]]:
    return item.standing, item.says, item.does, item.minutes, item.cautions


def read_readiness(machine: Machine, words: Sequence[str], knowledge: Knowledge) -> Readiness:
    """What was typed about a machine before its checks.

    Raises `FileProblems` with everything that is wrong with any of the words.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> ready = read_readiness(load_machine("mounted-6"), ["oil=15C"], load_knowledge())
    >>> [(item.says, item.minutes) for item in ready.items if item.standing == "bad"]
    [('15 °C (59 °F), cold', 25.0)]
    """
    problems: list[Problem] = []
    run: dict[str, float | str] = {}
    past: dict[str, str] = {}
    for word in words:
        with collected(problems):
            match parse_word(machine, word, knowledge):
                case History(values):
                    past |= values
                case Circumstances(values):
                    run |= {name: value for name, value in values.items() if value is not None}
                case _:
                    wrong = Wrong(
                        "a circumstance such as oil=54C", quoted(word), "results come later"
                    )
                    problems.append(wrong.at(Place(word)))
    refuse(problems)
    return Readiness(machine, knowledge, run, past)
