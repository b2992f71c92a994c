"""From a layout to its parts and what needs what, with the place where each was written."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from diagnose.knowledge.layouts import Layout, Section
from diagnose.knowledge.wrong import Path
from diagnose.machine.planter import end_of
from diagnose.record import record

SUPPLY = (
    ("supply/remote", "remote"),
    ("supply/coupler", "coupler"),
    ("supply/filter", "filter"),
    ("supply/hose", "supply-hose"),
)
POWER = (("power/feed", "power-feed"), ("power/bus", "bus"))


@record
class PartOf:
    """One part of a machine: its id, its kind, what it needs, where the layout names it."""

    id: str
    kind: str
    needs: tuple[str, ...]
    path: Path


def parts_of(layout: Layout) -> Iterator[PartOf]:
    """Every part of the machine, what is needed before what needs it where that is possible.

    >>> section = {"id": "section-1", "rows": "1-2", "feed": "chain", "from": 2, "to": 1}
    >>> branch = {"id": "harness-1", "rows": "1-2", "controller": "controller-1"}
    >>> layout = Layout.model_validate(
    ...     {"id": "mine", "name": "mine", "rows": 2, "sections": [section],
    ...      "branches": [branch], "controllers": [{"id": "controller-1"}]}
    ... )
    >>> needs = {part.id: part.needs for part in parts_of(layout)}
    >>> [needs[part] for part in ("row-2/hose", "row-1/hose", "section-1/chain-1")]
    [('section-1/manifold',), ('section-1/chain-1',), ('section-1/manifold',)]
    """
    yield from _in_line(SUPPLY)
    yield PartOf("supply/return", "return-line", (), ())
    yield PartOf("supply/air", "circuit-air", (), ())
    yield from _in_line(POWER)
    for place, controller in enumerate(layout.controllers):
        path = ("controllers", place)
        yield PartOf(f"{controller.id}/controller", "controller", ("power/bus",), path)
    by_id = {section.id: section for section in reversed(layout.sections)}
    for place, section in enumerate(layout.sections):
        feeder = by_id.get(section.fed_from) if section.fed_from else None
        yield from _section_parts(layout, section, feeder, ("sections", place))
    for place, branch in enumerate(layout.branches):
        needs = (f"{branch.controller}/controller",)
        yield PartOf(f"{branch.id}/branch", "branch", needs, ("branches", place))
    for place, port in enumerate(layout.ports):
        yield PartOf(f"{port.id}/port", "bleed-port", (), ("ports", place))
    for place, extra in enumerate(layout.extra):
        yield PartOf(extra.id, extra.kind, extra.needs, ("extra", place))
    yield from _all_row_parts(layout)


def extra_edges(layout: Layout) -> Iterator[tuple[str, str]]:
    """What the layout's extra parts serve: (extra part, part that needs it).

    >>> section = {"id": "section-1", "rows": "1"}
    >>> branch = {"id": "harness-1", "rows": "1", "controller": "controller-1"}
    >>> cooler = {"id": "supply/cooler", "kind": "filter", "serves": ["section-1/hose"]}
    >>> layout = Layout.model_validate(
    ...     {"id": "mine", "name": "mine", "rows": 1, "sections": [section],
    ...      "branches": [branch], "controllers": [{"id": "controller-1"}], "extra": [cooler]}
    ... )
    >>> list(extra_edges(layout))
    [('supply/cooler', 'section-1/hose')]
    """
    for extra in layout.extra:
        for part in extra.serves:
            yield extra.id, part
        for row in layout.rows_of(extra):
            yield extra.id, end_of(row)


def chain_part(section: str, row: int) -> str:
    """The hose of a chain that feeds ``row`` and all rows after it.

    >>> chain_part("section-1", 3)
    'section-1/chain-3'
    """
    return f"{section}/chain-{row}"


def _in_line(parts: tuple[tuple[str, str], ...]) -> Iterator[PartOf]:
    before: tuple[str, ...] = ()
    for part, kind in parts:
        yield PartOf(part, kind, before, ())
        before = (part,)


def _section_parts(
    layout: Layout, section: Section, feeder: Section | None, path: Path
) -> Iterator[PartOf]:
    feeders, air = _feeders(layout, feeder)
    hose, manifold = f"{section.id}/hose", f"{section.id}/manifold"
    yield PartOf(hose, "section-hose", feeders, path)
    yield PartOf(manifold, "manifold", (hose,), path)
    yield PartOf(f"{section.id}/air", "section-air", (air,), path)
    if section.feed == "chain":
        before = manifold
        for row in layout.feeding_order(section)[1:]:
            hose = chain_part(section.id, row)
            yield PartOf(hose, "chain-hose", (before,), path)
            before = hose


def _feeders(layout: Layout, feeder: Section | None) -> tuple[tuple[str, ...], str]:
    """What a section's hose needs, and the air that reaches the section from before it."""
    if feeder is None:
        return ("supply/hose", "supply/return"), "supply/air"
    return (_far_end(layout, feeder),), f"{feeder.id}/air"


def _far_end(layout: Layout, section: Section) -> str:
    order = layout.feeding_order(section)
    if section.feed == "chain" and len(order) > 1:
        return chain_part(section.id, order[-1])
    return f"{section.id}/manifold"


def _all_row_parts(layout: Layout) -> Iterator[PartOf]:
    oil = _oil_before_rows(layout)
    branches = {row: item.id for item in layout.branches for row in layout.rows_of(item)}
    ports: dict[int, list[str]] = {}
    for port in layout.ports:
        for row in layout.rows_of(port):
            ports.setdefault(row, []).append(f"{port.id}/port")
    for row in range(1, layout.rows + 1):
        if row in oil and row in branches:
            hose, air = oil[row]
            yield from _row_parts(row, hose, (air, *ports.get(row, ())), branches[row])


def _oil_before_rows(layout: Layout) -> dict[int, tuple[str, str]]:
    """For each row the part that its hose needs, and the air part of its section."""
    before: dict[int, tuple[str, str]] = {}
    for section in layout.sections:
        air, order = f"{section.id}/air", layout.feeding_order(section)
        before.update(dict.fromkeys(order, (f"{section.id}/manifold", air)))
        if section.feed == "chain":
            for _, row in pairwise(order):
                before[row] = (chain_part(section.id, row), air)
    return before


def _row_parts(row: int, oil: str, air: tuple[str, ...], branch: str) -> Iterator[PartOf]:
    def part(name: str) -> str:
        return f"row-{row}/{name}"

    for name, kind, needs in (
        ("hose", "row-hose", (oil,)),
        ("connector", "connector", (f"{branch}/branch",)),
        ("driver", "driver", (part("connector"),)),
        ("valve", "valve", (part("hose"), part("driver"))),
        ("air", "row-air", air),
        ("cylinder", "cylinder", (part("valve"), part("air"))),
        ("sensor", "sensor", (part("cylinder"), part("connector"))),
    ):
        yield PartOf(part(name), kind, needs, ())
