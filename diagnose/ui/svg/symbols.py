"""Symbols in the manner of ISO 1219, drawn here: each round a middle, shaded by suspicion.

A shade says how probable a fault is; the label beside it, which whoever draws adds, says it too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from diagnose.ui.svg.picture import Picture

Symbol = Callable[[Picture, float, float, Mapping[str, float | str]], None]


def shade(chance: float) -> dict[str, float | str]:
    """How dark a suspected part is.

    >>> shade(0.0), shade(1.0)
    ({'fill-opacity': 0.0}, {'fill-opacity': 1.0})
    """
    return {"fill-opacity": round(0.2 + 0.8 * chance, 3) if chance else 0.0}


def directional_valve(
    picture: Picture, x: float, y: float, dark: Mapping[str, float | str]
) -> None:
    """Two boxes for two positions, flow through one and none through the other, and a coil."""
    picture.box(x - 16, y - 8, 16, 16, "part", **dark)
    picture.box(x, y - 8, 16, 16, "part", **dark)
    picture.line([(x - 8, y + 6), (x - 8, y - 6)], "stroke")
    picture.line([(x - 10.5, y - 3), (x - 8, y - 6.5), (x - 5.5, y - 3)], "stroke")
    picture.line([(x + 8, y - 8), (x + 8, y - 4), (x + 5, y - 4), (x + 11, y - 4)], "stroke")
    picture.line([(x + 8, y + 8), (x + 8, y + 4), (x + 5, y + 4), (x + 11, y + 4)], "stroke")
    picture.box(x - 22, y - 5, 6, 10, "part", **dark)
    picture.line([(x - 22, y + 5), (x - 16, y - 5)], "stroke")


def cylinder(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A cylinder with its piston and rod, the rod down."""
    picture.box(x - 8, y - 12, 16, 20, "part", **dark)
    picture.line([(x - 8, y - 3), (x + 8, y - 3)], "stroke")
    picture.line([(x - 8, y), (x + 8, y)], "stroke")
    picture.line([(x, y), (x, y + 13)], "stroke")


def sensor(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A pressure transducer: a pointer in a circle."""
    picture.ring(x, y, 8, "part", **dark)
    picture.line([(x - 4.5, y + 4.5), (x + 4, y - 4)], "stroke")
    picture.line([(x, y - 4.2), (x + 4.2, y - 4.2), (x + 4.2, y)], "stroke")


def driver(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """An amplifier: a triangle in a box."""
    picture.box(x - 9, y - 8, 18, 16, "part", **dark)
    picture.line([(x - 5, y + 5), (x + 5, y + 5), (x, y - 5), (x - 5, y + 5)], "stroke")


def connector(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A plug and its socket."""
    picture.box(x - 8, y - 7, 16, 14, "part", rx=4, **dark)
    picture.line([(x - 5, y + 4), (x, y - 1), (x + 5, y + 4)], "stroke")
    picture.line([(x - 5, y), (x, y - 5), (x + 5, y)], "stroke")


def coupler(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A pair of quick couplers, joined, each with its inner valve."""
    picture.box(x - 15, y - 9, 30, 18, "part", rx=3, **dark)
    picture.curve(f"M{x - 10:g},{y - 6:g} a6,6 0 0 1 0,12", "stroke")
    picture.curve(f"M{x + 10:g},{y - 6:g} a6,6 0 0 0 0,12", "stroke")
    picture.ring(x - 9, y, 2, "stroke")
    picture.ring(x + 9, y, 2, "stroke")


def oil_filter(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A diamond with the element as a broken line."""
    corners = f"{x - 14:g},{y:g} {x:g},{y - 14:g} {x + 14:g},{y:g} {x:g},{y + 14:g}"
    picture.add("polygon", "part", points=corners, **dark)
    picture.line([(x, y - 14), (x, y + 14)], "stroke broken")


def hose(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A hose that hangs between two ends."""
    picture.box(x - 17, y - 9, 34, 18, "part quiet", rx=3, **dark)
    picture.curve(f"M{x - 14:g},{y - 3:g} q14,14 28,0", "stroke")
    picture.ring(x - 14, y - 3, 2, "stroke dot")
    picture.ring(x + 14, y - 3, 2, "stroke dot")


def air(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """Bubbles."""
    for across, down, radius in ((-6, 2, 3.0), (0, -3, 4.0), (6, 2.5, 2.5)):
        picture.ring(x + across, y + down, radius, "part bubble", **dark)


def tank(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """An open tank, for where the return leads."""
    picture.box(x - 12, y - 6, 24, 14, "part quiet", **dark)
    picture.line([(x - 12, y - 6), (x - 12, y + 8), (x + 12, y + 8), (x + 12, y - 6)], "stroke")


def port(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A closed port to the side of a line: a stub with its cap."""
    picture.line([(x, y), (x + 10, y)], "oil")
    picture.box(x + 10, y - 6, 7, 12, "part", **dark)


def power(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A battery."""
    picture.box(x - 13, y - 10, 26, 20, "part quiet", rx=3, **dark)
    for across, half in ((-6, 7), (-2, 3.5), (2, 7), (6, 3.5)):
        picture.line([(x + across, y - half), (x + across, y + half)], "stroke")


def bus(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """Two lines that many share."""
    picture.box(x - 15, y - 8, 30, 16, "part quiet", rx=3, **dark)
    picture.line([(x - 12, y - 3), (x + 12, y - 3)], "stroke")
    picture.line([(x - 12, y + 3), (x + 12, y + 3)], "stroke")


def controller(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A module with its pins."""
    picture.box(x - 11, y - 9, 22, 18, "part", **dark)
    for down in (-5, 0, 5):
        picture.line([(x - 15, y + down), (x - 11, y + down)], "stroke")
        picture.line([(x + 11, y + down), (x + 15, y + down)], "stroke")


def plain_box(picture: Picture, x: float, y: float, dark: Mapping[str, float | str]) -> None:
    """A part for which there is no symbol."""
    picture.box(x - 14, y - 9, 28, 18, "part", rx=2, **dark)


def row_mark(picture: Picture, x: float, y: float, mark: str) -> None:
    """What a row showed, large: X fail, o pass, ? unsure, an empty frame when it was not run.

    >>> picture = Picture("marks", 32, 32, "", "")
    >>> for mark in ("fail", "pass"):
    ...     row_mark(picture, 16, 16, mark)
    >>> [(each.get("class"), each.get("points", each.get("r"))) for each in picture.root[3:]]
    [('fail-mark', '8,8 24,24'), ('fail-mark', '8,24 24,8'), ('pass-mark', '9')]
    """
    if mark == "fail":
        picture.box(x - 14, y - 14, 28, 28, "fail-box", rx=4)
        picture.line([(x - 8, y - 8), (x + 8, y + 8)], "fail-mark")
        picture.line([(x - 8, y + 8), (x + 8, y - 8)], "fail-mark")
    elif mark == "pass":
        picture.ring(x, y, 9, "pass-mark")
    elif mark == "unsure":
        picture.curve(f"M{x - 5:g},{y - 5:g} a5,5 0 1 1 6,5 q-1,1 -1,4", "unsure-mark")
        picture.ring(x, y + 9, 1, "unsure-mark")
    else:
        picture.box(x - 9, y - 9, 18, 18, "not-run-mark", rx=3)


LINES = (
    ("oil under pressure", "oil"),
    ("oil on its way back", "oil return"),
    ("wire", "wire"),
    ("suspected hose or wire", "suspected"),
)
SYMBOLS: tuple[tuple[str, Symbol], ...] = (
    ("row valve and its coil", directional_valve),
    ("row cylinder", cylinder),
    ("row pressure sensor", sensor),
    ("row driver", driver),
    ("row connector", connector),
    ("trapped air", air),
    ("bleed port", port),
)


def key() -> Iterator[tuple[str, str]]:
    """Each meaning with its sign as markup.

    >>> [says for says, _ in key()][:2]
    ['oil under pressure', 'oil on its way back']
    """
    for says, kind in LINES:
        picture = Picture(f"key-{kind}", 52, 30, "", "")
        picture.line([(4, 15), (48, 15)], kind)
        yield says, picture.silent()
    for says, draw in SYMBOLS:
        picture = Picture(f"key-{says}", 52, 34, "", "")
        draw(picture, 28, 17, shade(0))
        yield says, picture.silent()
    picture = Picture("key-shade", 52, 30, "", "")
    for place, chance in enumerate((0.1, 0.5, 1.0)):
        picture.box(4 + 15 * place, 7, 14, 16, "part", **shade(chance))
    yield "the darker, the more probably at fault", picture.silent()


def mark(name: str) -> str:
    """The mark of a row as markup: ``fail``, ``pass``, ``unsure`` or ``not-run``.

    >>> 'class="fail-box"' in mark("fail")
    True
    """
    picture = Picture(f"mark-{name}", 32, 32, "", "")
    row_mark(picture, 16, 16, name)
    return picture.silent()
