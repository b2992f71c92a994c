"""Layouts: how one machine is plumbed and wired, in a form short enough to write by hand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from diagnose.knowledge.model import Id, Strict, Text
from diagnose.knowledge.rowranges import in_short, read_rows
from diagnose.knowledge.wrong import Fault, Path, Wrong, twins, unknown

MOST_ROWS = 1000


def _row_text(value: object) -> str:
    if isinstance(value, str | int) and not isinstance(value, bool):
        return str(value)
    raise Wrong("row numbers such as 6 or 1-5", "nothing" if value is None else repr(value)[:60])


Rows = Annotated[str, BeforeValidator(_row_text)]
RowCount = Annotated[int, Field(strict=True, ge=1, le=MOST_ROWS)]
RowNumber = Annotated[int, Field(strict=True, ge=1, le=MOST_ROWS)]
PartId = Annotated[str, Field(pattern=r"^[a-z][a-z0-9-]*/[a-z][a-z0-9-]*$", max_length=130)]


class Section(Strict):
    """Rows that share a section hose and a manifold.

    A ``chain`` runs from row ``from`` to row ``to``: a hose leads from each row to the next.
    ``fed_from`` names the section whose far end feeds this one; without it the supply does.
    """

    id: Id
    rows: Rows
    feed: Literal["star", "chain"] = "star"
    first: RowNumber | None = Field(default=None, alias="from")
    last: RowNumber | None = Field(default=None, alias="to")
    fed_from: Id | None = None


class Branch(Strict):
    """Rows that share a harness branch, and the controller that drives it."""

    id: Id
    rows: Rows
    controller: Id


class Controller(Strict):
    """A control module."""

    id: Id


class Port(Strict):
    """A bleed port beside row ``at``, through which the air of ``rows`` leaves."""

    id: Id
    at: RowNumber
    rows: Rows


class Extra(Strict):
    """A part beyond the usual ones: what it needs, and the parts or rows that need it."""

    id: PartId
    kind: Id
    needs: tuple[PartId, ...] = ()
    serves: tuple[PartId, ...] = ()
    rows: Rows | None = None


class Layout(Strict):
    """One machine as a layout file describes it."""

    id: Id
    name: Text
    says: Text | None = None
    rows: RowCount
    sections: tuple[Section, ...] = Field(min_length=1)
    branches: tuple[Branch, ...] = Field(min_length=1)
    controllers: tuple[Controller, ...] = Field(min_length=1)
    ports: tuple[Port, ...] = ()
    extra: tuple[Extra, ...] = ()

    def rows_of(self, item: Section | Branch | Port | Extra) -> tuple[int, ...]:
        """The rows that an item names, in order of number; none when they cannot be read."""
        try:
            return read_rows(item.rows, self.rows) if item.rows is not None else ()
        except Wrong:
            return ()

    def feeding_order(self, section: Section) -> tuple[int, ...]:
        """The rows of a section, the first fed first."""
        rows = self.rows_of(section)
        return rows[::-1] if rows and section.first == rows[-1] != section.last else rows

    def faults(self) -> Iterator[Fault]:
        """Rows left out, given twice or out of range, names that lead nowhere, ids given twice."""
        holders = ("sections", "branches", "controllers", "ports", "extra")
        for name in holders:
            yield from twins((name,), [item.id for item in getattr(self, name)])
        for name in ("sections", "branches", "ports", "extra"):
            yield from self._unreadable_rows(name)
        for name, items in (("sections", self.sections), ("branches", self.branches)):
            yield from self._uncovered(name, items)
        yield from self._shared_ids()
        yield from self._section_faults()
        yield from self._branch_faults()
        for place, port in enumerate(self.ports):
            if port.at > self.rows:
                got = str(port.at)
                yield ("ports", place, "at"), Wrong(f"a row from 1 to {self.rows}", got)

    def _unreadable_rows(self, name: str) -> Iterator[Fault]:
        for place, item in enumerate(getattr(self, name)):
            try:
                if item.rows is not None:
                    read_rows(item.rows, self.rows)
            except Wrong as wrong:
                yield (name, place, "rows"), wrong

    def _uncovered(self, name: str, items: Sequence[Section | Branch]) -> Iterator[Fault]:
        seen: dict[int, str] = {}
        for place, item in enumerate(items):
            again = [row for row in self.rows_of(item) if row in seen]
            if again:
                got = f"row {in_short(again)} again; {seen[again[0]]} has it"
                yield (name, place, "rows"), Wrong(f"each row in one of the {name}", got)
            seen.update(dict.fromkeys(self.rows_of(item), item.id))
        missing = [row for row in range(1, self.rows + 1) if row not in seen]
        if missing:
            expected = f"each row from 1 to {self.rows} in one of the {name}"
            yield (name,), Wrong(expected, f"no place for row {in_short(missing)}")

    def _shared_ids(self) -> Iterator[Fault]:
        taken: dict[str, str] = dict.fromkeys(("supply", "power"), "every machine")
        for name in ("sections", "branches", "controllers", "ports"):
            for place, item in enumerate(getattr(self, name)):
                if taken.get(item.id, name) != name or item.id.startswith("row-"):
                    holder = taken.get(item.id, "a row")
                    got = f"{item.id!r}, which {holder} already uses"
                    yield (name, place, "id"), Wrong("an id that nothing else has", got)
                taken[item.id] = name

    def _section_faults(self) -> Iterator[Fault]:
        ids = [section.id for section in self.sections]
        for place, section in enumerate(self.sections):
            here = ("sections", place)
            if section.fed_from is not None:
                yield from unknown((*here, "fed_from"), "a section", section.fed_from, ids)
            yield from self._direction_faults(here, section)

    def _direction_faults(self, here: Path, section: Section) -> Iterator[Fault]:
        ends = (section.first, section.last)
        rows = self.rows_of(section)
        if section.feed == "star" and ends != (None, None):
            remedy = "leave from and to out, or write feed: chain"
            yield (*here, "feed"), Wrong("no from and to for a star", "one of them", remedy)
        elif section.feed == "chain" and rows and set(ends) != {rows[0], rows[-1]}:
            expected = f"from and to at the ends of rows {in_short(rows)}"
            remedy = f"write from: {rows[0]} and to: {rows[-1]}, or the other way round"
            yield here, Wrong(expected, f"from {ends[0]} to {ends[1]}", remedy)

    def _branch_faults(self) -> Iterator[Fault]:
        ids = [controller.id for controller in self.controllers]
        used = Counter(branch.controller for branch in self.branches)
        for place, branch in enumerate(self.branches):
            yield from unknown(
                ("branches", place, "controller"), "a controller", branch.controller, ids
            )
        for place, controller in enumerate(self.controllers):
            if not used[controller.id]:
                got = f"{controller.id!r} without one"
                yield ("controllers", place), Wrong("a branch for each controller", got)
