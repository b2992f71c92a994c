"""A machine as a directed graph: an edge a → b says that b needs a."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path as FilePath
from types import MappingProxyType

import networkx as nx

from diagnose.errors import FileProblems, Place, Problem, UnknownName
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.layouts import Layout
from diagnose.knowledge.model import check_model, in_order
from diagnose.knowledge.parts import PartKind
from diagnose.knowledge.strictyaml import Document, read_file
from diagnose.knowledge.wrong import Fault, Path, Wrong, unknown
from diagnose.machine.parts_of import PartOf, end_of, extra_edges, parts_of

_REACH_ORDER = ("machine", "controller", "section", "chain", "branch", "port", "row")

RowsById = Mapping[str, tuple[int, ...]]


@dataclass(frozen=True)
class Machine:
    """One planter: its parts by id, and what depends on what.

    Parameters
    ----------
    id, name: as the layout gives them.
    rows: how many rows; they are numbered from 1.
    graph: nodes are part ids (attribute ``kind``), an edge a → b says that b needs a.
    parts: part id → kind; parts of the whole machine first, parts of rows last.
    sections, branches, controllers, ports: id → rows in order of number.
    chains: id of a section that is fed as a chain → its rows, the first fed first.
    port_rows: id of a bleed port → the row it sits at.

    >>> machine = load_machine("mounted-6")
    >>> machine.rows, machine.sections["section-1"]
    (6, (1, 2, 3, 4, 5, 6))
    >>> machine.rows_of("row-6/valve"), machine.upstream("row-6/driver", "electric")[-1]
    ((6,), 'row-6/connector')
    """

    id: str
    name: str
    rows: int
    graph: nx.DiGraph[str]
    parts: Mapping[str, PartKind]
    sections: RowsById
    branches: RowsById
    controllers: RowsById
    ports: RowsById
    chains: RowsById
    port_rows: Mapping[str, int]
    _exercised: dict[tuple[int, str], tuple[str, ...]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def ancestors(self, row: int, check: str) -> tuple[str, ...]:
        """The parts that ``check`` on ``row`` exercises, in the order of ``parts``.

        >>> load_machine("mounted-6").ancestors(6, "bleed")[-3:]
        ('row-6/valve', 'row-6/air', 'row-6/cylinder')
        """
        key = (row, check)
        if key not in self._exercised:
            self._exercised[key] = tuple(
                part for part in self._above[row] if check in self.parts[part].exercised_by
            )
        return self._exercised[key]

    def rows_of(self, part: str) -> tuple[int, ...]:
        """The rows that depend on a part. Raises `UnknownName`."""
        self._known(part)
        return self._rows_below.get(part, ())

    def upstream(self, part: str, side: str | None = None) -> tuple[str, ...]:
        """The parts that a part needs, near and far, on one side or both. Raises `UnknownName`."""
        self._known(part)
        above = self._in_order(nx.ancestors(self.graph, part))
        return tuple(each for each in above if side in (None, self.parts[each].side))

    def _known(self, part: str) -> None:
        if part not in self.parts:
            raise UnknownName(Place(self.id), f"a part of {self.id}", part, self.parts)

    def _in_order(self, parts: set[str]) -> tuple[str, ...]:
        return tuple(sorted(parts, key=self._rank.__getitem__))

    @cached_property
    def _rank(self) -> Mapping[str, int]:
        return {part: place for place, part in enumerate(self.parts)}

    @cached_property
    def _above(self) -> Mapping[int, tuple[str, ...]]:
        return {
            row: self._in_order(nx.ancestors(self.graph, end_of(row)) | {end_of(row)})
            for row in range(1, self.rows + 1)
        }

    @cached_property
    def _rows_below(self) -> RowsById:
        below: dict[str, list[int]] = {}
        for row, parts in self._above.items():
            for part in parts:
                below.setdefault(part, []).append(row)
        return {part: tuple(rows) for part, rows in below.items()}


def load_machine(name_or_path: str, knowledge: Knowledge | None = None) -> Machine:
    """The machine of a layout, by id or by the path of a layout file.

    Raises `UnknownName` when there is no such layout, `FileProblems` with everything that is
    wrong in the file.
    """
    knowledge = knowledge or load_knowledge()
    return read_machine(find_layout(name_or_path, knowledge), knowledge)


def find_layout(name_or_path: str, knowledge: Knowledge) -> FilePath:
    """The file of a layout. A name with a slash or a YAML ending is a path."""
    if name_or_path in knowledge.layouts:
        return knowledge.layouts[name_or_path]
    if name_or_path.endswith((".yaml", ".yml", ".json")) or "/" in name_or_path:
        return FilePath(name_or_path)
    raise UnknownName(Place("machine"), "a machine", name_or_path, knowledge.layouts)


def read_machine(path: FilePath, knowledge: Knowledge) -> Machine:
    """The machine that a layout file describes. Raises `FileProblems`."""
    document = read_file(path)
    layout, problems = check_model(document, Layout)
    if layout is None:
        raise FileProblems(problems)
    if path == knowledge.layouts.get(path.stem) and layout.id != path.stem:
        where = document.place(("id",))
        expected = f"id: {path.stem}, as the file is called"
        problems.append(Problem(where, expected, layout.id, "rename one of them"))
    machine, faults = assemble(layout, knowledge)
    problems += [wrong.at(document.place(place)) for place, wrong in faults]
    if problems:
        raise FileProblems(in_order(problems))
    return machine


def build_machine(layout: Layout, knowledge: Knowledge | None = None) -> Machine:
    """The machine of a layout made in Python. Raises `FileProblems`, whose places have no lines."""
    machine, faults = assemble(layout, knowledge or load_knowledge())
    document = Document(f"layout {layout.id}", {})
    problems = [wrong.at(document.place(path)) for path, wrong in (*layout.faults(), *faults)]
    if problems:
        raise FileProblems(problems)
    return machine


def assemble(layout: Layout, knowledge: Knowledge) -> tuple[Machine, list[Fault]]:
    """The machine as far as it can be built, and what stands in the way of using it."""
    parts = list(parts_of(layout))
    graph: nx.DiGraph[str] = nx.DiGraph()
    faults = [*_kind_faults(parts, knowledge), *_edge_faults(layout, parts)]
    for part in parts:
        graph.add_node(part.id, kind=knowledge.parts.get(part.kind))
    for part in parts:
        graph.add_edges_from((need, part.id) for need in part.needs if need in graph)
    graph.add_edges_from((a, b) for a, b, _ in extra_edges(layout) if b in graph)
    faults += _cycle_faults(graph, {part.id: part.path for part in parts})
    return _machine(layout, graph, parts, knowledge), faults


def _machine(
    layout: Layout, graph: nx.DiGraph[str], parts: list[PartOf], knowledge: Knowledge
) -> Machine:
    kinds = {part.id: knowledge.parts[part.kind] for part in parts if part.kind in knowledge.parts}
    in_reach = sorted(kinds, key=lambda part: _REACH_ORDER.index(kinds[part].reach))
    branches = {item.id: layout.rows_of(item) for item in layout.branches}
    driven: dict[str, list[int]] = {controller.id: [] for controller in layout.controllers}
    for branch in layout.branches:
        driven.setdefault(branch.controller, []).extend(branches[branch.id])
    chained = [section for section in layout.sections if section.feed == "chain"]
    return Machine(
        layout.id,
        layout.name,
        layout.rows,
        graph,
        MappingProxyType({part: kinds[part] for part in in_reach}),
        MappingProxyType({item.id: layout.rows_of(item) for item in layout.sections}),
        MappingProxyType(branches),
        MappingProxyType({name: tuple(sorted(rows)) for name, rows in driven.items()}),
        MappingProxyType({item.id: layout.rows_of(item) for item in layout.ports}),
        MappingProxyType({item.id: layout.feeding_order(item) for item in chained}),
        MappingProxyType({item.id: item.at for item in layout.ports}),
    )


def _kind_faults(parts: list[PartOf], knowledge: Knowledge) -> list[Fault]:
    """Kinds that nobody described; one that the usual parts need is told once."""
    faults: dict[str, Fault] = {}
    for part in parts:
        for path, wrong in unknown(part.path, "a part kind", part.kind, knowledge.parts):
            extra = part.path[:1] == ("extra",)
            faults.setdefault(part.id if extra else part.kind, (_kind_path(path), wrong))
    return list(faults.values())


def _kind_path(path: Path) -> Path:
    return (*path, "kind") if path[:1] == ("extra",) else path


def _edge_faults(layout: Layout, parts: list[PartOf]) -> list[Fault]:
    known = {part.id for part in parts}
    faults: list[Fault] = []
    for place, extra in enumerate(layout.extra):
        for number, need in enumerate(extra.needs):
            faults += unknown(("extra", place, "needs", number), "a part", need, known)
        if sum(part.id == extra.id for part in parts) > 1:
            wrong = Wrong("an id that no other part has", repr(extra.id), "choose another")
            faults.append((("extra", place, "id"), wrong))
    for _, part, path in extra_edges(layout):
        faults += unknown(path, "a part", part, known)
    return faults


def _cycle_faults(graph: nx.DiGraph[str], paths: Mapping[str, Path]) -> list[Fault]:
    """One fault for each circle of parts, at the first of its parts that the layout names."""
    faults: list[Fault] = []
    for knot in nx.strongly_connected_components(graph):
        first = min(knot)
        if len(knot) > 1 or graph.has_edge(first, first):
            circle = [a for a, _ in nx.find_cycle(graph.subgraph(knot))]
            written = sorted((paths[part] for part in circle if paths[part]), key=str)
            got = " → ".join([*circle, circle[0]])
            wrong = Wrong("parts that do not need each other in a circle", got, "take one out")
            faults.append((written[0] if written else (), wrong))
    return faults
