"""A machine drawn: what all of it shares, and each section as a band of columns.

In a band oil comes from above, wiring from below, and where they meet stand each row's number and
mark. What is shared is oil from the tractor and back, power, controllers, other parts.

Sections with more rows than fit beside each other on a phone go on in a further band, and all
bands have one scale, so that text is never made smaller.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby, pairwise
from textwrap import wrap

from diagnose.observations.rows import rows_in_words
from diagnose.record import record
from diagnose.reports.forms.ranking import LayoutReport, SectionReport
from diagnose.ui.svg import picture as symbols
from diagnose.ui.svg.picture import Picture
from diagnose.ui.words import percent

COLUMN = 52
EDGE = 10
MOST_BAND_COLUMNS = 6
"""So many columns fit on a phone of 360 px."""

_SHOWN = 0.01
"""Parts less probable at fault than this are neither shaded nor labelled."""

# Heights in a band, from the top. A label stands on the line below its symbol.
TRUNK, RETURN = 10, 22
TITLE, BESIDE = 44, 60
MANIFOLD = (68, 88)
RAIL = 102
HOSE, AIR, PORT, VALVE, CYLINDER = 118, 130, 156, 186, 223
NUMBER, MARK = 267, 287
SENSOR, DRIVER, CONNECTOR = 317, 351, 385
BRANCH, BUS = 414, 452
_HEIGHT = 460
BELOW = 20
"""How far below a symbol's middle its label stands."""


@record
class Band:
    """Neighbouring rows of one section; ``first`` when the section begins here."""

    section: SectionReport
    rows: tuple[int, ...]
    first: bool

    @property
    def width(self) -> int:
        """Pixels from edge to edge.

        >>> section = SectionReport(id="a", rows=(1,), feed="star", order=(1,), fed_from=None)
        >>> [Band(section, rows, True).width for rows in ((1, 2, 3, 4), (5,))]  # at least three
        [228, 176]
        """
        return COLUMN * max(len(self.rows), 3) + 2 * EDGE

    def x(self, row: int) -> float:
        """The middle of a row's column.

        >>> section = SectionReport(id="a", rows=(5, 6), feed="star", order=(5, 6), fed_from=None)
        >>> band = Band(section, (5, 6), True)
        >>> band.x(5), band.x(6)
        (36.0, 88.0)
        """
        return EDGE + COLUMN * (self.rows.index(row) + 0.5)


def bands(sections: Sequence[SectionReport]) -> list[Band]:
    """The sections in order of their rows, cut where a phone is too narrow.

    >>> rows = tuple(range(1, 9))
    >>> section = SectionReport(id="a", rows=rows, feed="star", order=rows, fed_from=None)
    >>> [band.rows for band in bands([section])]
    [(1, 2, 3, 4), (5, 6, 7, 8)]
    """
    section_of = {row: section for section in sections for row in section.rows}
    found: list[Band] = []
    seen: set[str] = set()
    for _, members in groupby(sorted(section_of), key=lambda row: section_of[row].id):
        stretch = list(members)
        section = section_of[stretch[0]]
        feed = section.order[0]
        for rows in _pieces(stretch):
            fed_here = feed in rows if section.feed == "chain" else section.id not in seen
            seen.add(section.id)
            found.append(Band(section, tuple(rows), fed_here))
    return found


def _pieces(rows: Sequence[int]) -> Iterator[Sequence[int]]:
    """The rows in as few and as equal pieces as fit."""
    count = -(-len(rows) // MOST_BAND_COLUMNS)
    for number in range(count):
        yield rows[number * len(rows) // count : (number + 1) * len(rows) // count]


@record
class Shown:
    """What is shown of a machine: its layout, each row's mark, how likely each part is at fault."""

    layout: LayoutReport
    marks: Mapping[int, str]
    suspicion: Mapping[str, float]


@record
class _Drawn:
    """A band on its way into a picture."""

    band: Band
    picture: Picture
    shown: Shown

    def symbol(self, part: str, draw: symbols.Symbol, x: float, y: float) -> None:
        """A part's symbol, shaded, with its label on the line below."""
        chance = self.chance(part)
        draw(self.picture, x, y, symbols.shade(chance))
        if chance:
            self.label(x, y + BELOW, chance)

    def chance(self, part: str) -> float:
        """How probable a part is at fault, as far as it is shown.

        >>> from diagnose.machine.graph import load_machine
        >>> from diagnose.reports.layout import layout_of
        >>> layout = layout_of(load_machine("mounted-6"))
        >>> shown = Shown(layout, {}, {"row-1/valve": 0.57, "row-1/air": 0.004})
        >>> band = bands(layout.sections)[0]
        >>> drawn = _Drawn(band, Picture("b", 9, 9, "", ""), shown)
        >>> drawn.chance("row-1/valve"), drawn.chance("row-1/air"), drawn.chance("row-1/hose")
        (0.57, 0.0, 0.0)
        """
        chance = self.shown.suspicion.get(part, 0.0)
        return chance if chance >= _SHOWN else 0.0

    def label(self, x: float, y: float, chance: float) -> None:
        self.picture.text(x, y, short_percent(chance), "label", COLUMN - 4)

    def pipe(self, part: str, points: Sequence[tuple[float, float]], kind: str = "oil") -> None:
        """A hose or a wire, with a broad shade under it when it is suspected.

        >>> from diagnose.machine.graph import load_machine
        >>> from diagnose.reports.layout import layout_of
        >>> layout = layout_of(load_machine("mounted-6"))
        >>> picture = Picture("b", 9, 9, "", "")
        >>> band = bands(layout.sections)[0]
        >>> drawn = _Drawn(band, picture, Shown(layout, {}, {"row-1/hose": 0.5}))
        >>> for row in (1, 2):
        ...     drawn.pipe(f"row-{row}/hose", [(0, 0), (0, 9)])
        >>> [(each.get("class"), each.get("stroke-opacity")) for each in picture.root[2:]]
        [('suspected', '0.6'), ('oil', None), ('oil', None)]
        """
        if chance := self.chance(part):
            opacity = round(0.2 + 0.8 * chance, 3)
            self.picture.line(points, "suspected", stroke_opacity=opacity)
        self.picture.line(points, kind)


def short_percent(chance: float) -> str:
    """A chance for a label.

    >>> short_percent(0.57), short_percent(0.999)
    ('57 %', '> 99 %')
    """
    return percent(chance).replace("over", ">")


def draw_band(id: str, band: Band, shown: Shown) -> Picture:
    """The picture of a band of a machine.

    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.reports.layout import layout_of
    >>> layout = layout_of(load_machine("mounted-6"))
    >>> shown = Shown(layout, {1: "fail", 2: "pass"}, {"row-1/valve": 0.57})
    >>> band = Band(layout.sections[0], (1, 2), True)
    >>> draw_band("b", band, shown).root.find("desc").text
    'row 1 fail; row 2 pass. Suspected: row-1/valve 57 %.'
    """
    name = f"{band.section.id}, {rows_in_words(band.rows)}"
    desc = _description(band, shown.marks, shown.suspicion)
    picture = Picture(id, band.width, _HEIGHT, name, desc)
    drawn = _Drawn(band, picture, shown)
    _trunks(drawn)
    _manifold(drawn)
    if band.section.feed == "chain":
        _chain(drawn)
    for row in band.rows:
        _row_oil(drawn, row)
        picture.text(band.x(row), NUMBER, str(row), "number", COLUMN - 4)
        symbols.row_mark(picture, band.x(row), MARK, shown.marks[row])
        _row_wiring(drawn, row)
    _branches(drawn)
    return picture


def _description(band: Band, marks: Mapping[int, str], suspicion: Mapping[str, float]) -> str:
    """What the picture shows, for who cannot see it."""
    said = {mark: [r for r in band.rows if marks[r] == mark] for mark in set(marks.values())}
    rows = "; ".join(
        f"{rows_in_words(those)} {mark.replace('-', ' ')}"
        for mark, those in sorted(said.items())
        if those
    )
    places = {band.section.id, *(f"row-{row}" for row in band.rows)}
    doubted = [
        f"{part} {percent(chance)}"
        for part, chance in sorted(suspicion.items(), key=lambda each: -each[1])
        if part.partition("/")[0] in places and chance >= _SHOWN
    ]
    return f"{rows}. Suspected: {', '.join(doubted) or 'nothing here'}."


def _trunks(drawn: _Drawn) -> None:
    """What goes on from band to band: pressure, return, and the line from the controllers."""
    for y, kind in ((TRUNK, "oil trunk"), (RETURN, "oil return"), (BUS, "wire trunk")):
        drawn.picture.line([(0, y), (drawn.band.width, y)], kind)


def _manifold(drawn: _Drawn) -> None:
    """The section's hose, its air, its manifold and the way back."""
    band, picture = drawn.band, drawn.picture
    section, top = band.section.id, MANIFOLD[0]
    chain = band.section.feed == "chain"
    feed = band.x(band.section.order[0]) if chain and band.first else EDGE + 12
    right = feed > band.width / 2
    title_x = 26 if right else feed + 12
    room = (feed - 12 if right else band.width - 24) - title_x
    says = f"{section}, a {band.section.feed}" if band.first else f"{section}, goes on"
    picture.text(title_x, TITLE, says, "title", room, "start")
    if band.first:
        _feed(drawn, feed, title_x, room)
    if chain and not band.first:
        return
    if chain:
        left = min(max(feed - 32, 2), band.width - 66)
        drawn.picture.box(left, top, 64, 20, "part", **symbols.shade(0))
        _manifold_name(drawn, left, 64)
    else:
        _manifold_name_box(drawn)
    back = 12.0 if right else band.width - 12.0
    side = 32 if right else band.width - 20
    reach = feed - 32 if chain and right else feed + 32 if chain else float(side)
    picture.line([(back, RETURN), (back, top + 10), (reach, top + 10)], "oil return")


def _manifold_name_box(drawn: _Drawn) -> None:
    left, width = 4, drawn.band.width - 24
    drawn.picture.box(left, MANIFOLD[0], width, 20, "part", **symbols.shade(0))
    _manifold_name(drawn, left, width)


def _manifold_name(drawn: _Drawn, left: float, width: float) -> None:
    """The manifold's shade and its name with the chance."""
    part = f"{drawn.band.section.id}/manifold"
    chance = drawn.chance(part)
    if chance:
        drawn.picture.box(left, MANIFOLD[0], width, 20, "part", **symbols.shade(chance))
    says = f"manifold {short_percent(chance)}" if chance else "manifold"
    says = says if width > 100 or not chance else short_percent(chance)
    drawn.picture.text(left + width / 2, MANIFOLD[1] - 6, says, "name", width - 6)


def _feed(drawn: _Drawn, x: float, beside: float, room: float) -> None:
    """The section's hose from the trunk, or from the section that feeds it; its air."""
    section = drawn.band.section
    start = TITLE if section.fed_from else TRUNK
    drawn.pipe(f"{section.id}/hose", [(x, start), (x, MANIFOLD[0])])
    says = [f"fed from {section.fed_from}"] if section.fed_from else []
    if not section.fed_from:
        drawn.picture.ring(x, TRUNK, 3, "oil dot")
    if doubt := drawn.chance(f"{section.id}/air"):
        symbols.air(drawn.picture, x, BESIDE - 4, symbols.shade(doubt))
    chances = {name: drawn.chance(f"{section.id}/{name}") for name in ("hose", "air")}
    says += [f"{name} {short_percent(chance)}" for name, chance in chances.items() if chance]
    if says:
        drawn.picture.text(beside, BESIDE, ", ".join(says), "label", room, "start")


def _chain(drawn: _Drawn) -> None:
    """The hoses from row to row; where the chain leaves the band it runs to the edge."""
    band, order = drawn.band, drawn.band.section.order
    for before, row in pairwise(order):
        ends = [place for place in (before, row) if place in band.rows]
        if not ends:
            continue
        known = [band.x(place) for place in ends]
        edge = 0.0 if (before if row in band.rows else row) < min(band.rows) else float(band.width)
        xs = known if len(known) == 2 else [known[0], edge]
        part = f"{band.section.id}/chain-{row}"
        drawn.pipe(part, [(xs[0], RAIL), (xs[1], RAIL)])
        if (chance := drawn.chance(part)) and row in band.rows:
            drawn.label(sum(xs) / 2, RAIL + 4, chance)


def _row_oil(drawn: _Drawn, row: int) -> None:
    """Hose, air, bleed port, valve and cylinder, from above."""
    band, x = drawn.band, drawn.band.x(row)
    order = band.section.order
    fed_by_rail = band.section.feed == "chain" and row != order[0]
    top = RAIL if fed_by_rail else MANIFOLD[1]
    drawn.pipe(f"row-{row}/hose", [(x, top), (x, VALVE - 8)])
    drawn.picture.line([(x, VALVE + 8), (x, CYLINDER - 12)], "oil")
    if chance := drawn.chance(f"row-{row}/hose"):
        drawn.label(x, HOSE, chance)
    if drawn.chance(f"row-{row}/air"):
        drawn.symbol(f"row-{row}/air", symbols.air, x, AIR)
    for port in drawn.shown.layout.ports:
        if port.at == row:
            drawn.symbol(f"{port.id}/port", symbols.port, x, PORT - 2)
    drawn.symbol(f"row-{row}/valve", symbols.directional_valve, x, VALVE)
    drawn.symbol(f"row-{row}/cylinder", symbols.cylinder, x, CYLINDER)


def _row_wiring(drawn: _Drawn, row: int) -> None:
    """Sensor, driver and connector, and the driver's line to the valve's coil."""
    x = drawn.band.x(row)
    drawn.picture.line([(x, SENSOR + 8), (x, BRANCH)], "wire")
    coil = [(x - 9.0, DRIVER), (x - 23.0, DRIVER), (x - 23.0, VALVE + 2), (x - 22.0, VALVE + 2)]
    drawn.picture.line(coil, "wire")
    parts: tuple[tuple[str, symbols.Symbol, float], ...] = (
        ("sensor", symbols.sensor, SENSOR),
        ("driver", symbols.driver, DRIVER),
        ("connector", symbols.connector, CONNECTOR),
    )
    for name, draw, y in parts:
        drawn.symbol(f"row-{row}/{name}", draw, x, y)


def _branches(drawn: _Drawn) -> None:
    """The harness branches under the columns that they serve."""
    band = drawn.band
    branch_of: Callable[[int], str] = {
        row: branch.id for branch in drawn.shown.layout.branches for row in branch.rows
    }.__getitem__
    first_rows = {branch.id: min(branch.rows) for branch in drawn.shown.layout.branches}
    for name, members in groupby(band.rows, key=branch_of):
        rows = list(members)
        left, right = band.x(rows[0]) - COLUMN / 2 + 3, band.x(rows[-1]) + COLUMN / 2 - 3
        drawn.pipe(f"{name}/branch", [(left, BRANCH), (right, BRANCH)], "wire branch")
        if first_rows[name] == rows[0]:
            drawn.picture.line([(left, BRANCH), (left, BUS)], "wire")
        _branch_name(drawn, name, left, right)


def _branch_name(drawn: _Drawn, name: str, left: float, right: float) -> None:
    middle, room = (left + right) / 2 + 2, right - left - 6
    drawn.picture.text(middle, BRANCH + 15, name, "small", room)
    if chance := drawn.chance(f"{name}/branch"):
        drawn.picture.text(middle, BRANCH + 29, short_percent(chance), "label", room)


PICTURE_WIDTH = 332
SLOT = 80
_ACROSS = 4
_ROW = 92
"""Pixels from one line of symbols to the next."""
_FIRST = 46


@record
class _Item:
    """A part with its name and symbol."""

    part: str
    name: str
    draw: symbols.Symbol


OIL = (
    _Item("supply/remote", "tractor remote", symbols.directional_valve),
    _Item("supply/coupler", "quick couplers", symbols.coupler),
    _Item("supply/filter", "pressure filter", symbols.oil_filter),
    _Item("supply/hose", "supply hose", symbols.hose),
)
_BACK = (
    _Item("supply/return", "return line", symbols.tank),
    _Item("supply/air", "air in the circuit", symbols.air),
)
_POWER = (
    _Item("power/feed", "power feed", symbols.power),
    _Item("power/bus", "bus", symbols.bus),
)


def draw_supply(id: str, layout: LayoutReport, suspicion: Mapping[str, float]) -> Picture:
    """The picture of what every row shares.

    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.reports.layout import layout_of
    >>> layout = layout_of(load_machine("mounted-6"))
    >>> picture = draw_supply("s", layout, {"supply/filter": 0.3, "power/bus": 0.004})
    >>> picture.root.find("desc").text.partition(". ")[2]
    'Suspected: pressure filter 30 %.'
    """
    modules = [_Item(f"{name}/controller", name, symbols.controller) for name in layout.controllers]
    extras = [_Item(one.id, one.id, symbols.plain_box) for one in layout.extras]
    chapters: list[tuple[str, Sequence[_Item], str]] = [
        ("Oil from the tractor", OIL, "oil trunk"),
        ("Oil on its way back", _BACK, "oil return"),
        ("Power and control", [*_POWER, *modules], "wire"),
        ("Further parts", extras, ""),
    ]
    told = [chapter for chapter in chapters if chapter[1]]
    lines = sum(-(-len(items) // _ACROSS) for _, items, _ in told)
    height = lines * _ROW + len(told) * 24 + 6
    every = [item for _, items, _ in told for item in items]
    picture = Picture(
        id, PICTURE_WIDTH, height, "What every row shares", _said_of_supply(every, suspicion)
    )
    y = 0.0
    for title, items, kind in told:
        picture.text(4, y + 18, title, "title", PICTURE_WIDTH - 8, "start")
        y = _chapter(picture, items, kind, y + 24, suspicion)
    return picture


def _chapter(
    picture: Picture, items: Sequence[_Item], kind: str, y: float, suspicion: Mapping[str, float]
) -> float:
    """Symbols in lines of `_ACROSS` on the line that joins them; gives the height after them."""
    for start in range(0, len(items), _ACROSS):
        here, middle = items[start : start + _ACROSS], y + _FIRST - 22
        if kind:
            end = PICTURE_WIDTH if kind.startswith("oil") else 6 + SLOT * (len(here) - 0.5)
            picture.line([(6 + SLOT / 2, middle), (end, middle)], kind)
        for place, item in enumerate(here):
            _item(picture, item, 6 + SLOT * (place + 0.5), middle, suspicion)
        y += _ROW
    return y


def _item(
    picture: Picture, item: _Item, x: float, y: float, suspicion: Mapping[str, float]
) -> None:
    chance = suspicion.get(item.part, 0.0)
    shown = chance if chance >= _SHOWN else 0.0
    picture.box(x - 20, y - 10, 40, 20, "ground")
    item.draw(picture, x, y, symbols.shade(shown))
    lines = wrap(item.name, 13, break_long_words=False, break_on_hyphens=False)[:2]
    for number, line in enumerate(lines):
        picture.text(x, y + 30 + 13 * number, line, "name", SLOT - 4)
    if shown:
        picture.text(x, y + 30 + 13 * len(lines), short_percent(shown), "label", SLOT - 4)


def _said_of_supply(items: Sequence[_Item], suspicion: Mapping[str, float]) -> str:
    doubted = [
        f"{item.name} {percent(suspicion[item.part])}"
        for item in items
        if suspicion.get(item.part, 0.0) >= _SHOWN
    ]
    parts = ", ".join(item.name for item in items)
    return f"{parts}. Suspected: {', '.join(doubted) or 'nothing here'}."
