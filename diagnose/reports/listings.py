"""Lists as reports, and the readiness sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from diagnose.knowledge.base import Knowledge
from diagnose.machine.planter import Machine
from diagnose.planner.advice import DEFERRAL
from diagnose.planner.readiness import BEFORE, EVERY, Readiness, ReadinessItem
from diagnose.reports.forms.listings import (
    CasesReport,
    CoverageReport,
    GroupReport,
    ItemReport,
    ListedCase,
    ListedMachine,
    ListedRule,
    MachineFacts,
    MachinesReport,
    PartReport,
    QuestionReport,
    ReadinessReport,
    RulesReport,
    SortCovered,
)
from diagnose.rules.rulefile import Rule
from diagnose.store.entry import Entry
from diagnose.training.worked_cases import Coverage


def build_machines_report(machines: Iterable[Machine]) -> MachinesReport:
    """The machines as a report."""
    listed = (ListedMachine(id=each.id, name=each.name, rows=each.rows) for each in machines)
    return MachinesReport(machines=tuple(listed))


def build_machine_facts(machine: Machine, row: int | None = None) -> MachineFacts:
    """A machine as a report; with a row, only the parts that the row depends on.

    >>> from diagnose.machine.graph import load_machine
    >>> build_machine_facts(load_machine("mounted-6"), 6).parts[-1].id
    'row-6/sensor'
    """
    wanted = (part for part in machine.parts if row is None or row in machine.rows_of(part))
    return MachineFacts(
        machine=machine.id,
        name=machine.name,
        rows=machine.rows,
        row=row,
        sections=machine.sections,
        branches=machine.branches,
        controllers=machine.controllers,
        ports=machine.ports,
        chains=machine.chains,
        parts=tuple(_part(machine, part) for part in wanted),
    )


def _part(machine: Machine, part: str) -> PartReport:
    kind = machine.parts[part]
    return PartReport(
        id=part,
        kind=kind.id,
        needs=tuple(sorted(machine.graph.predecessors(part))),
        checks=kind.exercised_by,
        rows=machine.rows_of(part),
    )


def build_rules_report(rules: Iterable[Rule]) -> RulesReport:
    """Rules as a report."""
    listed = (ListedRule(id=rule.id, group=rule.group, says=rule.says) for rule in rules)
    return RulesReport(rules=tuple(listed))


def build_cases_report(entries: Sequence[Entry]) -> CasesReport:
    """Cases of the casebook as a report."""
    return CasesReport(cases=tuple(map(_case, entries)))


def _case(entry: Entry) -> ListedCase:
    return ListedCase(
        case=entry.case,
        machine=entry.machine,
        title=entry.title,
        opened=entry.opened.isoformat(),
        last=entry.last.isoformat(),
        outcome=entry.outcome,
        causes=entry.causes,
        rows_failed=entry.rows_failed,
        minutes=entry.minutes,
        owner=entry.owner,
    )


def build_coverage_report(seen: Coverage) -> CoverageReport:
    """What worked cases exercise, as a report.

    >>> found = Coverage({"acts": frozenset({"swap"})}, {"acts": ("ask", "swap", "look")})
    >>> build_coverage_report(found).sorts["acts"]
    SortCovered(met=1, missing=('ask', 'look'))
    """
    missing = {sort: seen.missing(sort) for sort in seen.every}
    return CoverageReport(
        sorts={
            sort: SortCovered(met=len(every) - len(missing[sort]), missing=missing[sort])
            for sort, every in seen.every.items()
        }
    )


def build_readiness_report(ready: Readiness) -> ReadinessReport:
    """What to see to, as a report.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.planner.readiness import read_readiness
    >>> machine = load_machine("mounted-6")
    >>> ready = read_readiness(machine, ["engine=on", "oil=54C"], load_knowledge())
    >>> group = build_readiness_report(ready).groups[1]
    >>> group.title, [(item.id, item.standing) for item in group.items][:3]
    ('for every check', [('engine', 'good'), ('moving', 'to see to'), ('oil', 'good')])
    """
    knowledge = ready.knowledge
    likelier = (f.says for f in ready.evidence.findings if f.kind == "prior")
    cautions = (caution for check in knowledge.checks.values() for caution in check.cautions)
    return ReadinessReport(
        machine=ready.machine.id,
        name=ready.machine.name,
        rows=ready.machine.rows,
        groups=tuple(_group(when, ready) for when in (BEFORE, EVERY, *knowledge.checks)),
        likelier=tuple(dict.fromkeys(likelier)),
        questions=tuple(_questions(ready)),
        minutes=sum(item.minutes for item in ready.items),
        cautions=tuple(dict.fromkeys([*cautions, DEFERRAL])),
    )


def _group(when: str, ready: Readiness) -> GroupReport:
    knowledge = ready.knowledge
    return GroupReport(
        id=when,
        title=_title(when, knowledge),
        needs=knowledge.checks[when].needs if when in knowledge.checks else (),
        items=tuple(_item(item) for item in ready.items if item.when == when),
        cautions=_setup_cautions(when, ready),
    )


def _questions(ready: Readiness) -> Iterator[QuestionReport]:
    """The questions about the machine's past that nobody has answered."""
    for name, kind in ready.knowledge.of_scope("case").items():
        if name not in ready.past and kind.ask is not None:
            yield QuestionReport(
                id=kind.id, question=kind.ask.question, choices=tuple(kind.choices)
            )


def _title(when: str, knowledge: Knowledge) -> str:
    return f"for the {knowledge.checks[when].name}" if when in knowledge.checks else when


def _setup_cautions(when: str, ready: Readiness) -> tuple[str, ...]:
    """What the set-up of a check warns of, unless one of its own items says it already."""
    checks, setups = ready.knowledge.checks, ready.knowledge.setups
    if when not in checks:
        return ()
    told = {caution for item in ready.items if item.when == when for caution in item.cautions}
    setup = setups[checks[when].setup]
    return tuple(caution for caution in setup.cautions if caution not in told)


def _item(item: ReadinessItem) -> ItemReport:
    return ItemReport(
        id=item.id,
        about=item.about,
        standing=item.standing,
        says=item.says,
        does=item.does if item.does != item.says else None,
        minutes=item.minutes,
        cautions=item.cautions,
    )
