"""One planter: its parts, what each needs, and the rows that depend on each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from diagnose.errors import Place, UnknownName
from diagnose.knowledge.parts import PartKind
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
