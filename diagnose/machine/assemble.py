"""From a layout to the machine's graph, with what stands in the way of using it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from types import MappingProxyType

import networkx as nx

from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.layouts import Layout
from diagnose.knowledge.parts import PartKind
from diagnose.knowledge.wrong import Fault, Path, Wrong, unknown
from diagnose.machine.parts_of import PartOf, end_of, extra_edges, parts_of
from diagnose.machine.planter import Machine

_REACH_ORDER = ("machine", "controller", "section", "chain", "branch", "port", "row")


def assemble(layout: Layout, knowledge: Knowledge) -> tuple[Machine, list[Fault]]:
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


def _idle_extras(layout: Layout, graph: nx.DiGraph[str]) -> Iterator[Fault]:
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
        tuple(item.id for item in layout.extra),
        layout.frame or "",
    )


def _extra_faults(
    layout: Layout, parts: list[PartOf], kinds: Mapping[str, object]
) -> Iterator[Fault]:
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


def _cycle_faults(graph: nx.DiGraph[str], paths: Mapping[str, Path]) -> list[Fault]:
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
