"""A layout: the file that describes a planter, and all that is checked of it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from diagnose.formats.model import Id, Strict
from diagnose.formats.rowranges import in_short, read_rows
from diagnose.formats.value_problem import FieldFault, Path, Wrong, twins, unknown
from diagnose.tolerances import LONGEST_NAME, MOST_EXTRAS, MOST_ROWS


def _row_text(value: object) -> str:
    if isinstance(value, str | int) and not isinstance(value, bool):
        return str(value)
    raise Wrong(
        got="nothing" if value is None else repr(value)[:60],
        expected="row numbers such as 6 or 1-5",
    )


_Rows = Annotated[str, BeforeValidator(_row_text)]
RowCount = Annotated[int, Field(strict=True, ge=1, le=MOST_ROWS)]
RowNumber = Annotated[int, Field(strict=True, ge=1, le=MOST_ROWS)]


class Section(Strict):
    """Rows that share a section hose and a manifold.

    A ``chain`` runs from row ``from`` to row ``to``: a hose leads from each row to the next.
    ``fed_from`` names the section whose far end feeds this one; without it the supply does.
    """

    id: str
    rows: _Rows
    feed: Literal["star", "chain"] = "star"
    first: RowNumber | None = Field(default=None, alias="from")
    last: RowNumber | None = Field(default=None, alias="to")
    fed_from: str | None = None


class _Branch(Strict):
    """Rows that share a harness branch, and the controller that drives it."""

    id: str
    rows: _Rows
    controller: str


class Controller(Strict):
    """A control module."""

    id: str


class Port(Strict):
    """A bleed port beside row ``at``, through which the air of ``rows`` leaves."""

    id: str
    at: RowNumber
    rows: _Rows


class Extra(Strict):
    """A part beyond the usual ones: what it needs, and the parts or rows that need it."""

    id: str
    kind: str
    needs: tuple[str, ...] = ()
    serves: tuple[str, ...] = ()
    rows: _Rows | None = None


class Layout(Strict):
    """One machine as a layout file describes it.

    ``frame`` is the sort of machine, such as ``mounted``: those of one frame may have priors of
    their own, learned from closed cases.
    """

    id: str
    name: str
    frame: Id | None = None
    says: str | None = None
    rows: RowCount
    sections: tuple[Section, ...] = Field(min_length=1)
    branches: tuple[_Branch, ...] = Field(min_length=1)
    controllers: tuple[Controller, ...] = Field(min_length=1)
    ports: tuple[Port, ...] = ()
    extra: tuple[Extra, ...] = ()

    def rows_of(self, item: Section | _Branch | Port | Extra) -> tuple[int, ...]:
        """The rows that an item names, in order of number; none when they cannot be read.

        >>> section = {"id": "section-1", "rows": "1-3"}
        >>> branch = {"id": "harness-1", "rows": "1-3", "controller": "controller-1"}
        >>> layout = Layout.model_validate(
        ...     {"id": "mine", "name": "mine", "rows": 3, "sections": [section],
        ...      "branches": [branch], "controllers": [{"id": "controller-1"}]}
        ... )
        >>> layout.rows_of(layout.sections[0])
        (1, 2, 3)
        """
        try:
            return read_rows(item.rows, self.rows) if item.rows is not None else ()
        except Wrong:
            return ()

    def feeding_order(self, section: Section) -> tuple[int, ...]:
        """The rows of a section, the first fed first.

        >>> section = {"id": "section-1", "rows": "1-3", "feed": "chain", "from": 3, "to": 1}
        >>> branch = {"id": "harness-1", "rows": "1-3", "controller": "controller-1"}
        >>> layout = Layout.model_validate(
        ...     {"id": "mine", "name": "mine", "rows": 3, "sections": [section],
        ...      "branches": [branch], "controllers": [{"id": "controller-1"}]}
        ... )
        >>> layout.feeding_order(layout.sections[0])
        (3, 2, 1)
        """
        rows = self.rows_of(section)
        return rows[::-1] if rows and section.first == rows[-1] != section.last else rows


_ID = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_PART_ID = re.compile(rf"{_ID.pattern}/{_ID.pattern}")
_LONGEST = 60
_LISTS = ("sections", "branches", "controllers", "ports")


def layout_faults(layout: Layout) -> Iterator[FieldFault]:
    """Rows left out, given twice or out of range, names that lead nowhere, ids given twice.

    >>> section = {"id": "section-1", "rows": "1-2"}
    >>> branch = {"id": "harness-1", "rows": "1-3", "controller": "controller-1"}
    >>> layout = Layout.model_validate(
    ...     {"id": "mine", "name": "mine", "rows": 3, "sections": [section],
    ...      "branches": [branch], "controllers": [{"id": "controller-1"}]}
    ... )
    >>> print(*(wrong for _, wrong in layout_faults(layout)))
    expected each row from 1 to 3 in one of the sections, got no place for row 3
    """
    yield from crowded(layout) or _all_faults(layout)


def crowded(layout: Layout) -> list[FieldFault]:
    """Lists that are too long to be looked at one by one: nothing in them can be right.

    >>> section = {"id": "section-1", "rows": "1"}
    >>> branch = {"id": "harness-1", "rows": "1", "controller": "controller-1"}
    >>> layout = Layout.model_validate(
    ...     {"id": "mine", "name": "mine", "rows": 1, "sections": 3 * [section],
    ...      "branches": [branch], "controllers": [{"id": "controller-1"}]}
    ... )
    >>> [str(wrong) for _, wrong in crowded(layout)]
    ['expected at most 1 sections, one for each row, got 3']
    """
    found: list[FieldFault] = []
    for name in _LISTS:
        many = len(getattr(layout, name))
        if many > layout.rows:
            expected = f"at most {layout.rows} {name}, one for each row"
            wrong = Wrong(expected, f"{many:,}", "look at rows:, or take some out")
            found.append(((name,), wrong))
    if len(layout.extra) > MOST_EXTRAS:
        expected = f"at most {MOST_EXTRAS} extra parts"
        wrong = Wrong(expected, f"{len(layout.extra):,}", "take some out")
        found.append((("extra",), wrong))
    return found


def _all_faults(layout: Layout) -> Iterator[FieldFault]:
    yield from _names(layout)
    yield from _ids(layout)
    for name in ("sections", "branches", "ports", "extra"):
        yield from _unreadable_rows(layout, name)
    yield from _uncovered(layout, "sections", layout.sections)
    yield from _uncovered(layout, "branches", layout.branches)
    yield from _feeds(layout)
    yield from _controllers(layout)
    for place, port in enumerate(layout.ports):
        if port.at > layout.rows:
            wrong = Wrong(f"a row from 1 to {layout.rows}", str(port.at))
            yield ("ports", place, "at"), wrong


def _names(layout: Layout) -> Iterator[FieldFault]:
    yield from _bad_id(("id",), layout.id)
    if not layout.name.strip():
        yield ("name",), Wrong("a name for people", repr(layout.name))
    if len(layout.name) > LONGEST_NAME:
        got = f"{len(layout.name):,}"
        yield ("name",), Wrong(f"a name of at most {LONGEST_NAME} letters", got, "shorten it")


def _bad_id(path: Path, name: str) -> Iterator[FieldFault]:
    if not _ID.fullmatch(name) or len(name) > _LONGEST:
        expected = "an id of small letters, digits and single hyphens, such as section-2"
        yield path, Wrong(expected, repr(name[:_LONGEST]))


def _ids(layout: Layout) -> Iterator[FieldFault]:
    """Ids that are misshapen, given twice, or taken by something else."""
    taken = {"supply": "every machine", "power": "every machine"}
    for name in _LISTS:
        items = getattr(layout, name)
        yield from twins((name,), [item.id for item in items])
        for place, item in enumerate(items):
            path = (name, place, "id")
            yield from _bad_id(path, item.id)
            holder = "a row" if item.id.startswith("row-") else taken.get(item.id, name)
            if holder != name:
                got = f"{item.id!r}, which {holder} has"
                yield path, Wrong("an id that nothing else has", got, "choose another")
            taken.setdefault(item.id, name)
    yield from _extra_ids(layout.extra)


def _extra_ids(extra: Sequence[Extra]) -> Iterator[FieldFault]:
    yield from twins(("extra",), [item.id for item in extra])
    for place, item in enumerate(extra):
        if not _PART_ID.fullmatch(item.id) or len(item.id) > 2 * _LONGEST:
            expected = "a part id such as supply/cooler"
            yield ("extra", place, "id"), Wrong(expected, repr(item.id[:_LONGEST]))


def _unreadable_rows(layout: Layout, name: str) -> Iterator[FieldFault]:
    for place, item in enumerate(getattr(layout, name)):
        try:
            if item.rows is not None:
                read_rows(item.rows, layout.rows)
        except Wrong as wrong:
            yield (name, place, "rows"), wrong


def _uncovered(
    layout: Layout, name: str, items: Sequence[Section | _Branch]
) -> Iterator[FieldFault]:
    """Rows that stand in two items of the list, or in none."""
    seen: dict[int, str] = {}
    for place, item in enumerate(items):
        rows = layout.rows_of(item)
        again = [row for row in rows if row in seen]
        if again:
            got = f"row {in_short(again)} again; {seen[again[0]]} has it"
            yield (name, place, "rows"), Wrong(f"each row in one of the {name}", got)
        seen.update(dict.fromkeys(rows, item.id))
    missing = [row for row in range(1, layout.rows + 1) if row not in seen]
    if missing:
        expected = f"each row from 1 to {layout.rows} in one of the {name}"
        yield (name,), Wrong(expected, f"no place for row {in_short(missing)}")


def _feeds(layout: Layout) -> Iterator[FieldFault]:
    ids = {section.id for section in layout.sections}
    for place, section in enumerate(layout.sections):
        path: Path = ("sections", place)
        if section.fed_from is not None:
            yield from unknown((*path, "fed_from"), "a section", section.fed_from, ids)
        yield from _direction(path, section, layout.rows_of(section))


def _direction(path: Path, section: Section, rows: Sequence[int]) -> Iterator[FieldFault]:
    ends = (section.first, section.last)
    if section.feed == "star" and ends != (None, None):
        remedy = "leave from and to out, or write feed: chain"
        yield path, Wrong("no from and to in a star", f"from {ends[0]} to {ends[1]}", remedy)
    if section.feed == "chain" and rows and set(ends) != {rows[0], rows[-1]}:
        expected = f"from and to at the ends of rows {in_short(rows)}"
        remedy = f"write from: {rows[0]} and to: {rows[-1]}, or the other way round"
        yield path, Wrong(expected, f"from {ends[0]} to {ends[1]}", remedy)


def _controllers(layout: Layout) -> Iterator[FieldFault]:
    ids = [controller.id for controller in layout.controllers]
    known = set(ids)
    for place, branch in enumerate(layout.branches):
        path = ("branches", place, "controller")
        yield from unknown(path, "a controller", branch.controller, known)
    used = {branch.controller for branch in layout.branches}
    for place, name in enumerate(ids):
        if name not in used and used <= known:
            wrong = Wrong("a branch for each controller", f"{name!r} without one", "take it out")
            yield ("controllers", place), wrong
