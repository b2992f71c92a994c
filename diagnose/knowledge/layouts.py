"""Layouts: how one machine is plumbed and wired, in a form short enough to write by hand.

Only the shape is checked here; `layoutcheck` looks at what the values mean together, so that one
bad word does not hide the other problems of a file.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from diagnose.knowledge.model import Id, Strict
from diagnose.knowledge.rowranges import read_rows
from diagnose.knowledge.wrong import Wrong
from diagnose.limits import MOST_ROWS


def _row_text(value: object) -> str:
    if isinstance(value, str | int) and not isinstance(value, bool):
        return str(value)
    raise Wrong(
        got="nothing" if value is None else repr(value)[:60],
        expected="row numbers such as 6 or 1-5",
    )


Rows = Annotated[str, BeforeValidator(_row_text)]
RowCount = Annotated[int, Field(strict=True, ge=1, le=MOST_ROWS)]
RowNumber = Annotated[int, Field(strict=True, ge=1, le=MOST_ROWS)]


class Section(Strict):
    """Rows that share a section hose and a manifold.

    A ``chain`` runs from row ``from`` to row ``to``: a hose leads from each row to the next.
    ``fed_from`` names the section whose far end feeds this one; without it the supply does.
    """

    id: str
    rows: Rows
    feed: Literal["star", "chain"] = "star"
    first: RowNumber | None = Field(default=None, alias="from")
    last: RowNumber | None = Field(default=None, alias="to")
    fed_from: str | None = None


class Branch(Strict):
    """Rows that share a harness branch, and the controller that drives it."""

    id: str
    rows: Rows
    controller: str


class Controller(Strict):
    """A control module."""

    id: str


class Port(Strict):
    """A bleed port beside row ``at``, through which the air of ``rows`` leaves."""

    id: str
    at: RowNumber
    rows: Rows


class Extra(Strict):
    """A part beyond the usual ones: what it needs, and the parts or rows that need it."""

    id: str
    kind: str
    needs: tuple[str, ...] = ()
    serves: tuple[str, ...] = ()
    rows: Rows | None = None


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
    branches: tuple[Branch, ...] = Field(min_length=1)
    controllers: tuple[Controller, ...] = Field(min_length=1)
    ports: tuple[Port, ...] = ()
    extra: tuple[Extra, ...] = ()

    def rows_of(self, item: Section | Branch | Port | Extra) -> tuple[int, ...]:
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
