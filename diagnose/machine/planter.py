"""A planter: its parts, what each depends on, and which rows each of them serves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import field
from functools import cached_property
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from diagnose.errors import Place, UnknownName
from diagnose.formats.value_problem import Path
from diagnose.knowledge.parts import PartKind
from diagnose.machine.layouts import Layout, Section
from diagnose.record import record

if TYPE_CHECKING:
    import networkx as nx


RowsById = Mapping[str, tuple[int, ...]]
PartsById = Mapping[str, tuple[str, ...]]

_BY_ROWS = ("sections", "branches", "controllers", "ports", "chains")


def end_of(row: int) -> str:
    """The part that reports a row: everything that the row needs is upstream of it.

    >>> end_of(6)
    'row-6/sensor'
    """
    return f"row-{row}/sensor"


@record
class Machine:
    """One planter: its parts by id, and what depends on what.

    Parameters
    ----------
    id, name: as the layout gives them.
    rows: how many rows; they are numbered from 1.
    parts: part id → kind; parts of the whole machine first, parts of rows last.
    needs: part id → the parts that it needs directly.
    above: part id → all that it needs, near and far, in the order of ``parts``.
    sections, branches, controllers, ports: id → rows in order of number.
    chains: id of a section that is fed as a chain → its rows, the first fed first.
    port_rows: id of a bleed port → the row it sits at.
    extras: ids of the parts that the layout adds to the usual ones.
    frame: the sort of machine, such as ``mounted``; empty when the layout does not say.

    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> machine.rows, machine.sections["section-1"]
    (6, (1, 2, 3, 4, 5, 6))
    >>> machine.rows_of("row-6/valve"), machine.upstream("row-6/driver", "electric")[-1]
    ((6,), 'row-6/connector')
    """

    id: str
    name: str
    rows: int
    parts: Mapping[str, PartKind]
    needs: PartsById
    above: PartsById
    sections: RowsById
    branches: RowsById
    controllers: RowsById
    ports: RowsById
    chains: RowsById
    port_rows: Mapping[str, int]
    extras: tuple[str, ...] = ()
    frame: str = ""
    _exercised: dict[tuple[int, str], tuple[str, ...]] = field(
        default_factory=dict, repr=False, compare=False
    )

    @cached_property
    def graph(self) -> nx.DiGraph[str]:
        """What needs what, for scripts: nodes are parts with their ``kind``, a → b if b needs a.

        >>> from diagnose.machine.graph import load_machine
        >>> list(load_machine("mounted-6").graph.successors("row-6/hose"))
        ['row-6/valve']
        """
        import networkx as nx  # noqa: PLC0415 # slow to import, and needed by few

        graph: nx.DiGraph[str] = nx.DiGraph()
        graph.add_nodes_from((part, {"kind": kind}) for part, kind in self.parts.items())
        graph.add_edges_from((a, b) for b, needed in self.needs.items() for a in needed)
        return graph

    @cached_property
    def of_kind(self) -> Mapping[str, tuple[str, ...]]:
        """The parts of each kind that the machine has, in the order of ``parts``.

        >>> from diagnose.machine.graph import load_machine
        >>> load_machine("mounted-6").of_kind["bleed-port"]
        ('port-left/port', 'port-right/port')
        """
        found: dict[str, list[str]] = {}
        for part, kind in self.parts.items():
            found.setdefault(kind.id, []).append(part)
        return {kind: tuple(parts) for kind, parts in found.items()}

    def ancestors(self, row: int, check: str) -> tuple[str, ...]:
        """The parts that ``check`` on ``row`` exercises, in the order of ``parts``.

        >>> from diagnose.machine.graph import load_machine
        >>> load_machine("mounted-6").ancestors(6, "bleed")[-3:]
        ('row-6/valve', 'row-6/air', 'row-6/cylinder')
        """
        key = (row, check)
        if key not in self._exercised:
            self._exercised[key] = tuple(
                part for part in self._of_row[row] if check in self.parts[part].exercised_by
            )
        return self._exercised[key]

    def at(self, place: str) -> tuple[str, ...]:
        """The parts whose ids begin with a place, such as ``row-6``.

        >>> from diagnose.machine.graph import load_machine
        >>> load_machine("mounted-6").at("row-6")[-3:]
        ('row-6/air', 'row-6/cylinder', 'row-6/sensor')
        """
        return self._at_place.get(place, ())

    @cached_property
    def _at_place(self) -> dict[str, tuple[str, ...]]:
        places: dict[str, list[str]] = {}
        for part in self.parts:
            places.setdefault(part.partition("/")[0], []).append(part)
        return {place: tuple(parts) for place, parts in places.items()}

    def rows_of(self, part: str) -> tuple[int, ...]:
        """The rows that depend on a part. Raises `UnknownName`.

        >>> from diagnose.machine.graph import load_machine
        >>> load_machine("folding-16").rows_of("section-1/chain-3")
        (1, 2, 3)
        """
        self._known(part)
        return self._rows_below.get(part, ())

    def upstream(self, part: str, side: str | None = None) -> tuple[str, ...]:
        """The parts that a part needs, near and far, on one side or both. Raises `UnknownName`.

        >>> from diagnose.machine.graph import load_machine
        >>> load_machine("folding-16").upstream("harness-1/branch")
        ('power/feed', 'power/bus', 'controller-1/controller')
        """
        self._known(part)
        return tuple(each for each in self.above[part] if side in (None, self.parts[each].side))

    def _known(self, part: str) -> None:
        if part not in self.parts:
            raise UnknownName(Place(self.id), f"a part of {self.id}", part, self.parts)

    @cached_property
    def _of_row(self) -> Mapping[int, tuple[str, ...]]:
        """What a row needs, and the part that reports it, in the order of ``parts``."""
        rank = {part: place for place, part in enumerate(self.parts)}
        ends = ((row, end_of(row)) for row in range(1, self.rows + 1))
        return {
            row: tuple(sorted((*self.above[end], end), key=rank.__getitem__)) for row, end in ends
        }

    @cached_property
    def _rows_below(self) -> RowsById:
        below: dict[str, list[int]] = {}
        for row, parts in self._of_row.items():
            for part in parts:
                below.setdefault(part, []).append(row)
        return {part: tuple(rows) for part, rows in below.items()}


def as_data(machine: Machine) -> dict[str, Any]:
    """A machine as plain data; `from_data` gives it back."""
    place = {part: number for number, part in enumerate(machine.parts)}
    return {
        "id": machine.id,
        "name": machine.name,
        "rows": machine.rows,
        "parts": [[part, kind.id] for part, kind in machine.parts.items()],
        "needs": [[place[each] for each in machine.needs[part]] for part in place],
        "above": [[place[each] for each in machine.above[part]] for part in place],
        "by_rows": {
            each: {name: list(rows) for name, rows in getattr(machine, each).items()}
            for each in _BY_ROWS
        },
        "port_rows": dict(machine.port_rows),
        "extras": list(machine.extras),
        "frame": machine.frame,
    }


def from_data(data: Mapping[str, Any], kinds: Mapping[str, PartKind]) -> Machine:
    """The machine of such data, with its part kinds. Raises `LookupError` for an unknown kind.

    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("folding-16")
    >>> from_data(as_data(machine), {kind.id: kind for kind in machine.parts.values()}) == machine
    True
    """
    parts = [part for part, _ in data["parts"]]

    def named(lists: list[list[int]]) -> PartsById:
        found = (tuple(parts[number] for number in numbers) for numbers in lists)
        return MappingProxyType(dict(zip(parts, found, strict=True)))

    by_rows: dict[str, Any] = {
        each: MappingProxyType({name: tuple(rows) for name, rows in data["by_rows"][each].items()})
        for each in _BY_ROWS
    }
    return Machine(
        id=data["id"],
        name=data["name"],
        rows=data["rows"],
        parts=MappingProxyType({part: kinds[kind] for part, kind in data["parts"]}),
        needs=named(data["needs"]),
        above=named(data["above"]),
        **by_rows,
        port_rows=MappingProxyType(data["port_rows"]),
        extras=tuple(data["extras"]),
        frame=data["frame"],
    )


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
