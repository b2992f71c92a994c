"""Draw the rows of a machine with what each run showed, as wide as the terminal is.

Rows stand in the order of the machine, a gap between sections, and the wiring branches below::

                 section-1           section-2
    row           1  2  3  4  5  6    7  8  9 10 11 12
    1 bleed       o  o  o  o  o  o    o  o  o  o  o  o
    2 response    o  o  o  o  o  X    o  o  o  o  o  o
    wiring       └harness-1┘ └─harness-2─┘ └harness-3┘

A mark says the result and the colour says it again: nobody needs to see the colour.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby

from rich.text import Text

from diagnose.record import record

_MARKS = {"P": ("o", "pass"), "F": ("X", "fail"), "?": ("?", "unsure"), ".": (" ", "unsure")}
GAP = 2

_Rows = Sequence[int]


@record
class Line:
    """One line of results: what stands before it, and one pattern letter per row."""

    label: str
    pattern: str


@record
class _Block:
    """Sections that stand side by side, with the column in which each row's cell starts."""

    headings: tuple[tuple[int, str], ...]
    columns: Mapping[int, int]
    cell: int

    def end(self, row: int) -> int:
        return self.columns[row] + self.cell


def draw_rows(
    lines: Sequence[Line],
    sections: Mapping[str, _Rows],
    branches: Mapping[str, _Rows],
    width: int = 80,
    ascii_only: bool = False,
) -> list[Text]:
    r"""The picture, line by line; machines that are too wide go on in a further block.

    >>> lines = draw_rows([Line("1 bleed", "PF?.")], {"section-1": (1, 2, 3, 4)}, {})
    >>> print("\n".join(line.plain for line in lines))
              section-1
    row        1  2  3  4
    1 bleed    o  X  ?
    """
    label = max(len(line.label) for line in [*lines, Line("wiring", "")]) + 2
    drawn: list[Text] = []
    for block in _blocks(sections, label, width):
        drawn += [Text(), *_draw_block(block, lines, branches, label, ascii_only)]
    return drawn[1:]


def _blocks(sections: Mapping[str, _Rows], label: int, width: int) -> Iterator[_Block]:
    cell = 1 + max(2, len(str(max(row for rows in sections.values() for row in rows))))
    room = max(width - label, 4 * cell)
    groups = list(_groups(sections, room // cell))
    while groups:
        headings: list[tuple[int, str]] = []
        columns: dict[int, int] = {}
        column = label
        while groups and (not columns or column + _wide(*groups[0], cell) <= label + room):
            name, rows = groups.pop(0)
            headings.append((column + 1, name))
            columns |= {row: column + cell * place for place, row in enumerate(rows)}
            column += _wide(name, rows, cell) + GAP
        yield _Block(tuple(headings), columns, cell)


def _groups(sections: Mapping[str, _Rows], most: int) -> Iterator[tuple[str, _Rows]]:
    """Neighbouring rows of one section, cut where a terminal could not show them in a line."""
    section_of = {row: name for name, rows in sections.items() for row in rows}
    for name, members in groupby(sorted(section_of), key=section_of.__getitem__):
        rows = list(members)
        yield from ((name, rows[start : start + most]) for start in range(0, len(rows), most))


def _wide(name: str, rows: _Rows, cell: int) -> int:
    return max(cell * len(rows), len(name) + 1)


def _draw_block(
    block: _Block,
    lines: Sequence[Line],
    branches: Mapping[str, _Rows],
    label: int,
    ascii_only: bool,
) -> Iterator[Text]:
    yield _at(block.headings, "quiet")
    numbers = Text("row".ljust(label), style="quiet")
    yield _cells(block, numbers, {row: (str(row), "") for row in block.columns})
    for line in lines:
        marks = {row: _MARKS[line.pattern[row - 1]] for row in block.columns}
        yield _cells(block, Text(line.label.ljust(label)), marks)
    wires = list(_wires(block, branches, ascii_only))
    if wires:
        yield _at([(0, "wiring"), *wires], "quiet")


def _cells(block: _Block, text: Text, shown: Mapping[int, tuple[str, str]]) -> Text:
    for row, (mark, style) in shown.items():
        text.pad_right(block.end(row) - len(text) - len(mark))
        text.append(mark, style)
    text.rstrip()
    return text


def _at(pieces: Sequence[tuple[int, str]], style: str) -> Text:
    """Pieces of text, each at its own column; an earlier piece is cut where the next begins."""
    text = Text(style=style)
    for column, piece in sorted(pieces):
        text.set_length(column)
        text.append(piece)
    return text


def _wires(
    block: _Block, branches: Mapping[str, _Rows], ascii_only: bool
) -> Iterator[tuple[int, str]]:
    for name, rows in branches.items():
        here = [row for row in block.columns if row in set(rows)]
        for first, last in _stretches(here):
            start = block.columns[first] + 1
            yield start, _bracket(name, block.end(last) - start, ascii_only)


def _stretches(rows: _Rows) -> Iterator[tuple[int, int]]:
    for _, members in groupby(enumerate(sorted(rows)), key=lambda pair: pair[1] - pair[0]):
        stretch = [row for _, row in members]
        yield stretch[0], stretch[-1]


def _bracket(name: str, wide: int, ascii_only: bool) -> str:
    """A bracket with the name in it; where there is no room, only what comes after its dash.

    >>> [_bracket("harness-1", wide, True) for wide in (15, 5, 2)]
    ['|--harness-1--|', '|-1-|', '-1']
    """
    left, dash, right = "|-|" if ascii_only else "└─┘"
    short = name if len(name) <= wide - 2 else name.rpartition("-")[2]
    if len(short) > wide - 2:
        return short[-wide:].rjust(wide, dash)
    return left + short.center(wide - 2, dash) + right
