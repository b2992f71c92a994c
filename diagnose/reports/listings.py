"""What is listed and looked up: machines, rules, cases, what worked cases exercise, pages."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from diagnose.lessons.coverage import Coverage
from diagnose.machine.planter import Machine
from diagnose.reasoning.rulefile import Rule
from diagnose.reports.forms.listings import (
    CasesReport,
    CoverageReport,
    ListedCase,
    ListedMachine,
    ListedRule,
    MachineFacts,
    MachinesReport,
    PartReport,
    RulesReport,
    SortCovered,
)
from diagnose.store.entry import Entry


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
