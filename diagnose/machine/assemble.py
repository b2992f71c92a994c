"""From a layout to the machine, with everything that stands in the way of using it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from types import MappingProxyType

import networkx as nx

from diagnose.errors import FileProblems, Problem
from diagnose.formats.model import check_model, in_order
from diagnose.formats.strictyaml import Document
from diagnose.formats.value_problem import FieldFault, Path, Wrong, unknown
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.parts import PartKind
from diagnose.machine.layouts import Layout, crowded, layout_faults
from diagnose.machine.planter import Machine, PartOf, end_of, extra_edges, parts_of

_REACH_ORDER = ("machine", "controller", "section", "chain", "branch", "port", "row")


def machine_in(document: Document, knowledge: Knowledge, called: str = "") -> Machine:
    """The machine that a layout in hand describes; its id is what it is ``called``, if that is
    given. Raises `FileProblems`.

    >>> from diagnose.formats.strictyaml import read_file
    >>> known = load_knowledge()
    >>> data = read_file(known.layouts["mounted-6"]).data
    >>> machine_in(Document("mine.yaml", data), known).branches["harness-1"]
    (1, 2, 3, 4, 5, 6)
    """
    layout, problems = check_model(document, Layout)
    if layout is None:
        raise FileProblems(problems)
    if called and layout.id != called:
        expected = f"id: {called}, as the file is called"
        where = document.place(("id",))
        problems.append(Problem(where, expected, layout.id, "rename one of them"))
    return _built(layout, document, knowledge, problems)


def build_machine(layout: Layout, knowledge: Knowledge | None = None) -> Machine:
    """The machine of a layout made in Python. Raises `FileProblems`, whose places have no lines.

    >>> section = {"id": "section-1", "rows": "1-2"}
    >>> branch = {"id": "harness-1", "rows": "1-2", "controller": "controller-1"}
    >>> layout = Layout.model_validate(
    ...     {"id": "mine", "name": "mine", "rows": 2, "sections": [section],
    ...      "branches": [branch], "controllers": [{"id": "controller-1"}]}
    ... )
    >>> machine = build_machine(layout)
    >>> machine.rows_of("section-1/hose"), machine.rows_of("row-2/hose")
    ((1, 2), (2,))
    """
    return _built(layout, Document(f"layout {layout.id}", {}), knowledge or load_knowledge(), [])


def _built(
    layout: Layout, document: Document, knowledge: Knowledge, problems: list[Problem]
) -> Machine:
    """The machine, unless something is wrong. Raises `FileProblems`."""
    too_long = crowded(layout)
    if too_long:
        problems += [wrong.at(document.place(path)) for path, wrong in too_long]
        raise FileProblems(in_order(problems))
    machine, faults = assemble(layout, knowledge)
    faults += layout_faults(layout)
    problems += [wrong.at(document.place(path)) for path, wrong in faults]
    if problems:
        raise FileProblems(in_order(problems))
    return machine


def assemble(layout: Layout, knowledge: Knowledge) -> tuple[Machine, list[FieldFault]]:
    """The machine as far as it can be built, and what stands in the way of using it.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> section = {"id": "section-1", "rows": "1"}
    >>> branch = {"id": "harness-1", "rows": "1", "controller": "controller-1"}
    >>> layout = Layout.model_validate(
    ...     {"id": "mine", "name": "mine", "rows": 1, "sections": [section],
    ...      "branches": [branch], "controllers": [{"id": "controller-1"}],
    ...      "extra": [{"id": "supply/cooler", "kind": "filter", "needs": ["supply/pump"]}]}
    ... )
    >>> machine, faults = assemble(layout, load_knowledge())
    >>> machine.extras, [str(wrong) for _, wrong in faults]
    (('supply/cooler',), ["expected a part, got 'supply/pump'"])
    """
    parts, known = list(parts_of(layout)), knowledge.parts_of(layout.frame)
    graph: nx.DiGraph[str] = nx.DiGraph()
    faults = list(_extra_faults(layout, parts, known))
    for part in parts:
        graph.add_node(part.id, kind=known.get(part.kind))
    for part in parts:
        graph.add_edges_from((need, part.id) for need in part.needs if need in graph)
    graph.add_edges_from((a, b) for a, b in extra_edges(layout) if b in graph)
    faults += _cycle_faults(graph, {part.id: part.path for part in parts})
    return _machine(layout, graph, parts, known), faults or list(_idle_extras(layout, graph))


def _idle_extras(layout: Layout, graph: nx.DiGraph[str]) -> Iterator[FieldFault]:
    """Extra parts that no row depends on."""
    ends = {end_of(row) for row in range(1, layout.rows + 1)}
    for place, extra in enumerate(layout.extra):
        if extra.rows is None and ends.isdisjoint(map(str, nx.dfs_preorder_nodes(graph, extra.id))):
            wrong = Wrong(
                f"a row that depends on {extra.id}", "none", "say in serves: or rows: what needs it"
            )
            yield ("extra", place), wrong


def _machine(
    layout: Layout, graph: nx.DiGraph[str], parts: list[PartOf], known: Mapping[str, PartKind]
) -> Machine:
    kinds = {part.id: known[part.kind] for part in parts if part.kind in known}
    in_reach = sorted(kinds, key=lambda part: _REACH_ORDER.index(kinds[part].reach))
    place = {part: number for number, part in enumerate(in_reach)}
    branches = {item.id: layout.rows_of(item) for item in layout.branches}
    driven: dict[str, list[int]] = {controller.id: [] for controller in layout.controllers}
    for branch in layout.branches:
        driven.setdefault(branch.controller, []).extend(branches[branch.id])
    chained = [section for section in layout.sections if section.feed == "chain"]
    return Machine(
        layout.id,
        layout.name,
        layout.rows,
        MappingProxyType({part: kinds[part] for part in in_reach}),
        MappingProxyType({part: tuple(graph.predecessors(part)) for part in in_reach}),
        MappingProxyType(
            {
                part: tuple(sorted(nx.ancestors(graph, part) & kinds.keys(), key=place.__getitem__))
                for part in in_reach
            }
        ),
        MappingProxyType({item.id: layout.rows_of(item) for item in layout.sections}),
        MappingProxyType(branches),
        MappingProxyType({name: tuple(sorted(rows)) for name, rows in driven.items()}),
        MappingProxyType({item.id: layout.rows_of(item) for item in layout.ports}),
        MappingProxyType({item.id: layout.feeding_order(item) for item in chained}),
        MappingProxyType({item.id: item.at for item in layout.ports}),
        tuple(item.id for item in layout.extra),
        layout.frame or "",
    )


def _extra_faults(
    layout: Layout, parts: list[PartOf], kinds: Mapping[str, object]
) -> Iterator[FieldFault]:
    """Kinds and parts that extra parts name and nobody has, ids that another part has."""
    count = Counter(part.id for part in parts)
    for place, extra in enumerate(layout.extra):
        path = ("extra", place)
        yield from unknown((*path, "kind"), "a part kind", extra.kind, kinds)
        if count[extra.id] > 1:
            wrong = Wrong("an id that no other part has", repr(extra.id), "choose another")
            yield (*path, "id"), wrong
        for number, need in enumerate(extra.needs):
            yield from unknown((*path, "needs", number), "a part", need, count)
        for number, part in enumerate(extra.serves):
            yield from unknown((*path, "serves", number), "a part", part, count)


def _cycle_faults(graph: nx.DiGraph[str], paths: Mapping[str, Path]) -> list[FieldFault]:
    """For each circle of parts a fault at every one of its parts that the layout names."""
    faults: dict[Path, Wrong] = {}
    for knot in nx.strongly_connected_components(graph):
        first = min(knot)
        if len(knot) > 1 or graph.has_edge(first, first):
            circle = [a for a, _ in nx.find_cycle(graph.subgraph(knot))]
            got = " → ".join([*circle, circle[0]])
            wrong = Wrong("parts that do not need each other in a circle", got, "take one out")
            written = {paths[part] for part in circle if paths[part]} or {()}
            faults = dict.fromkeys(sorted(written, key=str), wrong) | faults
    return list(faults.items())
