"""One planter: its parts, what each needs, and the rows that depend on each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from functools import cached_property

import networkx as nx

from diagnose.errors import Place, UnknownName
from diagnose.knowledge.parts import PartKind
from diagnose.machine.parts_of import end_of
from diagnose.record import record

RowsById = Mapping[str, tuple[int, ...]]


@record
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
    graph: nx.DiGraph[str]
    parts: Mapping[str, PartKind]
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
                part for part in self._above[row] if check in self.parts[part].exercised_by
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
