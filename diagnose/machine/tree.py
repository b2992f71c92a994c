"""A machine drawn as a tree of text, and what one row depends on, in words.

Plain lines of at most 80 columns; a face prints them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from textwrap import wrap

from diagnose.errors import InputError, Place, Problem
from diagnose.formats.rowranges import in_short
from diagnose.machine.planter import POWER, SUPPLY, Machine

_WIDTH = 80
_ARROW = " → "


def draw_tree(machine: Machine) -> list[str]:
    """The machine from the tractor outwards: oil side, electric side, bleed ports, one row.

    >>> from diagnose.machine.graph import load_machine
    >>> print(*draw_tree(load_machine("mounted-6"))[:5], sep=chr(10))
    mounted-6: mounted, 6 rows (invented layout)
    <BLANKLINE>
    oil side
    supply/remote → coupler → filter → hose; also return, air
    └─ section-1: hose → manifold → rows 1-6, a star; air
    """
    return [
        *wrap(f"{machine.id}: {machine.name}", _WIDTH),
        "",
        "oil side",
        f"{_path(part for part, _ in SUPPLY)}; also return, air",
        *_oil(machine),
        "",
        "electric side",
        _path(part for part, _ in POWER),
        *_electric(machine),
        "",
        *_ports(machine),
        "every row",
        "oil       hose → valve → cylinder; air",
        "electric  branch → connector → driver → valve's coil; connector → sensor",
        *_extras(machine),
    ]


def describe_row(machine: Machine, row: int) -> list[str]:
    """Everything that a row depends on, by side: part, what it is, rows with it, checks.

    Raises `InputError` when the machine has no such row.

    >>> from diagnose.machine.graph import load_machine
    >>> print(*describe_row(load_machine("mounted-6"), 6)[-2:], sep=chr(10))
      row-6/driver             row driver                response  row 6
      row-6/sensor             row pressure sensor       response  row 6
    """
    if not 1 <= row <= machine.rows:
        where = Place(machine.id)
        raise InputError(Problem(where, f"a row from 1 to {machine.rows}", str(row)))
    needed = {side: list(_needed(machine, row, side)) for side in ("oil", "electric")}
    widths = _widths(machine, needed["oil"] + needed["electric"])
    lines = [f"row {row} of {machine.id} depends on (part, what it is, checks, rows that share it)"]
    for side, parts in needed.items():
        lines += ["", f"{side} side"]
        lines += [_part_line(machine, part, widths) for part in parts]
    return lines


def _widths(machine: Machine, parts: Sequence[str]) -> tuple[int, int]:
    return max(map(len, parts)), max(len(machine.parts[part].name) for part in parts)


def _needed(machine: Machine, row: int, side: str) -> Iterator[str]:
    """The parts of one side that any check on the row exercises, in the machine's order."""
    parts = {part for check in _checks(machine) for part in machine.ancestors(row, check)}
    for part, kind in machine.parts.items():
        if part in parts and kind.side == side:
            yield part


def _checks(machine: Machine) -> list[str]:
    return sorted({check for kind in machine.parts.values() for check in kind.exercised_by})


def _part_line(machine: Machine, part: str, widths: tuple[int, int]) -> str:
    kind, rows = machine.parts[part], machine.rows_of(part)
    checks = "both" if len(kind.exercised_by) > 1 else kind.exercised_by[0]
    whose = "all rows" if len(rows) == machine.rows else _all(rows)
    return f"  {part:<{widths[0]}}  {kind.name:<{widths[1]}}  {checks:<8}  {whose}"


def _path(parts: Iterable[str]) -> str:
    """Parts in line, the place before the slash told once."""
    first, *rest = parts
    return _ARROW.join([first, *(part.partition("/")[2] for part in rest)])


def _twigs(items: Iterable[Sequence[str]]) -> Iterator[str]:
    """Draw items as branches of a tree; the further lines of an item hang under its first."""
    items = list(items)
    for place, lines in enumerate(items):
        last = place == len(items) - 1
        for number, line in enumerate(lines):
            lead = ("└─ " if last else "├─ ") if number == 0 else ("   " if last else "│  ")
            yield f"{lead}{line}"


def _oil(machine: Machine) -> Iterator[str]:
    yield from _twigs(_section_lines(machine, section) for section in machine.sections)
    if machine.chains:
        yield "in a chain the hose SECTION/chain-N leads to row N and to all rows after it"


def _section_lines(machine: Machine, section: str) -> list[str]:
    order = machine.chains.get(section)
    rows = f"{_all(machine.sections[section])}, a star"
    if order is not None:
        rows = f"row {_ARROW.join(map(str, order))}, a chain"
    text = f"{section}: {_feeder(machine, section)}hose → manifold → {rows}; air"
    return wrap(text, _WIDTH - 5, subsequent_indent="  ")


def _all(rows: Sequence[int]) -> str:
    return f"row{'s' if len(rows) > 1 else ''} {in_short(rows)}"


def _feeder(machine: Machine, section: str) -> str:
    places = {part.partition("/")[0] for part in machine.needs[f"{section}/hose"]}
    others = sorted(places & set(machine.sections))
    return f"fed from {others[0]}: " if others else ""


def _electric(machine: Machine) -> Iterator[str]:
    return _twigs(_controller_lines(machine, controller) for controller in machine.controllers)


def _controller_lines(machine: Machine, controller: str) -> list[str]:
    rows = machine.controllers[controller]
    driven = [
        branch
        for branch in machine.branches
        if f"{controller}/controller" in machine.needs[f"{branch}/branch"]
    ]
    twigs = _twigs([f"{branch}/branch: {_all(machine.branches[branch])}"] for branch in driven)
    return [f"{controller}/controller: {_all(rows)}", *twigs]


def _ports(machine: Machine) -> Iterator[str]:
    if machine.ports:
        yield "bleed ports (the bleed check only)"
        yield from _twigs(
            [f"{port}/port: at row {machine.port_rows[port]}, for {_all(rows)}"]
            for port, rows in machine.ports.items()
        )
        yield ""


def _extras(machine: Machine) -> Iterator[str]:
    if machine.extras:
        yield from ("", "further parts of this layout")
        yield from _twigs(_extra_lines(machine, part) for part in machine.extras)


def _extra_lines(machine: Machine, part: str) -> list[str]:
    needs = sorted(machine.needs[part])
    rows = machine.rows_of(part)
    text = f"{part} ({machine.parts[part].name}): for {_all(rows) if rows else 'no row'}"
    return wrap(text + (f"; needs {', '.join(needs)}" if needs else ""), 74)
