"""How a machine is plumbed and wired, as far as a drawing needs it."""

from __future__ import annotations

from collections.abc import Collection

from diagnose.machine.planter import Machine
from diagnose.reports.forms.ranking import (
    ExtraReport,
    HarnessReport,
    LayoutReport,
    PortReport,
    SectionReport,
)


def layout_of(machine: Machine) -> LayoutReport:
    """How a machine is plumbed and wired.

    >>> from diagnose.machine.graph import load_machine
    >>> port = layout_of(load_machine("mounted-6")).ports[1]
    >>> port.id, port.at, port.rows
    ('port-right', 6, (4, 5, 6))
    """
    ports = machine.ports.items()
    extras = ((part, machine.parts[part].name) for part in machine.extras)
    return LayoutReport(
        sections=tuple(_section(machine, name) for name in machine.sections),
        branches=tuple(_branch(machine, name) for name in machine.branches),
        controllers=tuple(machine.controllers),
        ports=tuple(PortReport(id=id, at=machine.port_rows[id], rows=rows) for id, rows in ports),
        extras=tuple(ExtraReport(id=part, name=name) for part, name in extras),
    )


def _section(machine: Machine, name: str) -> SectionReport:
    rows = machine.sections[name]
    return SectionReport(
        id=name,
        rows=rows,
        feed="chain" if name in machine.chains else "star",
        order=machine.chains.get(name, rows),
        fed_from=_place_above(machine, f"{name}/hose", machine.sections),
    )


def _branch(machine: Machine, name: str) -> HarnessReport:
    controller = _place_above(machine, f"{name}/branch", machine.controllers)
    return HarnessReport(id=name, rows=machine.branches[name], controller=controller)


def _place_above(machine: Machine, part: str, places: Collection[str]) -> str | None:
    """The place among some that feeds or drives a part directly."""
    above = (each.partition("/")[0] for each in machine.graph.predecessors(part))
    return next((place for place in sorted(above) if place in places), None)
