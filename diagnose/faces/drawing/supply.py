"""What the whole machine shares: oil from the tractor and back, power, controllers, other parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

from diagnose.faces.drawing import symbols
from diagnose.faces.drawing.bands import SHOWN, short_percent
from diagnose.faces.drawing.svg import Picture
from diagnose.faces.words import percent
from diagnose.record import record

Data = Mapping[str, Any]

WIDTH = 332
SLOT = 80
ACROSS = 4
ROW = 92
"""Pixels from one line of symbols to the next."""
FIRST = 46


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
BACK = (
    _Item("supply/return", "return line", symbols.tank),
    _Item("supply/air", "air in the circuit", symbols.air),
)
POWER = (
    _Item("power/feed", "power feed", symbols.power),
    _Item("power/bus", "bus", symbols.bus),
)


def draw_supply(id: str, report: Data) -> Picture:
    """The picture of what every row shares.

    >>> layout = {"controllers": ["controller-1"], "extras": []}
    >>> report = {"layout": layout, "suspicion": {"supply/filter": 0.3, "power/bus": 0.004}}
    >>> draw_supply("s", report).root.find("desc").text.partition(". ")[2]
    'Suspected: pressure filter 30 %.'
    """
    layout, suspicion = report["layout"], report["suspicion"]
    modules = [
        _Item(f"{name}/controller", name, symbols.controller) for name in layout["controllers"]
    ]
    extras = [_Item(one["id"], one["id"], symbols.plain_box) for one in layout["extras"]]
    chapters: list[tuple[str, Sequence[_Item], str]] = [
        ("Oil from the tractor", OIL, "oil trunk"),
        ("Oil on its way back", BACK, "oil return"),
        ("Power and control", [*POWER, *modules], "wire"),
        ("Further parts", extras, ""),
    ]
    told = [chapter for chapter in chapters if chapter[1]]
    lines = sum(-(-len(items) // ACROSS) for _, items, _ in told)
    height = lines * ROW + len(told) * 24 + 6
    every = [item for _, items, _ in told for item in items]
    picture = Picture(id, WIDTH, height, "What every row shares", _description(every, suspicion))
    y = 0.0
    for title, items, kind in told:
        picture.text(4, y + 18, title, "title", WIDTH - 8, "start")
        y = _chapter(picture, items, kind, y + 24, suspicion)
    return picture


def _chapter(
    picture: Picture, items: Sequence[_Item], kind: str, y: float, suspicion: Mapping[str, float]
) -> float:
    """Symbols in lines of `ACROSS` on the line that joins them; gives the height after them."""
    for start in range(0, len(items), ACROSS):
        here, middle = items[start : start + ACROSS], y + FIRST - 22
        if kind:
            end = WIDTH if kind.startswith("oil") else 6 + SLOT * (len(here) - 0.5)
            picture.line([(6 + SLOT / 2, middle), (end, middle)], kind)
        for place, item in enumerate(here):
            _item(picture, item, 6 + SLOT * (place + 0.5), middle, suspicion)
        y += ROW
    return y


def _item(
    picture: Picture, item: _Item, x: float, y: float, suspicion: Mapping[str, float]
) -> None:
    chance = suspicion.get(item.part, 0.0)
    shown = chance if chance >= SHOWN else 0.0
    picture.box(x - 20, y - 10, 40, 20, "ground")
    item.draw(picture, x, y, symbols.shade(shown))
    lines = wrap(item.name, 13, break_long_words=False, break_on_hyphens=False)[:2]
    for number, line in enumerate(lines):
        picture.text(x, y + 30 + 13 * number, line, "name", SLOT - 4)
    if shown:
        picture.text(x, y + 30 + 13 * len(lines), short_percent(shown), "label", SLOT - 4)


def _description(items: Sequence[_Item], suspicion: Mapping[str, float]) -> str:
    doubted = [
        f"{item.name} {percent(suspicion[item.part])}"
        for item in items
        if suspicion.get(item.part, 0.0) >= SHOWN
    ]
    parts = ", ".join(item.name for item in items)
    return f"{parts}. Suspected: {', '.join(doubted) or 'nothing here'}."
