"""Pictures in SVG: their elements, and the symbols and key that all of them use."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from xml.etree import ElementTree as ET

from diagnose.ui.streams import visible

LETTER = 0.62
"""Mean width of a letter against the size of the type, a little too wide for most types."""

SQUEEZE = 0.85
"""Text that is too long by no more than this is set tighter; longer text is cut."""

_SIZES = {"small": 11.0, "name": 11.0, "label": 11.0, "title": 13.0, "number": 14.0}
"""The size of the type of each class of text, as the style sheet sets it."""


class Picture:
    """A picture of a width and height in pixels, with a title and a description for who cannot
    see it. ``id`` must be unique on the page.

    >>> picture = Picture("one", 20, 10, "A line", "From left to right")
    >>> picture.line([(0, 5), (20, 5)], "oil")
    >>> 'aria-labelledby="one-title one-desc"' in picture.markup()
    True
    """

    def __init__(self, id: str, width: float, height: float, title: str, desc: str) -> None:
        named = f"{id}-title {id}-desc"
        self.width, self.height = width, height
        self.root = ET.Element(
            "svg",
            {
                "class": "drawing",
                "viewBox": f"0 0 {width:g} {height:g}",
                "width": f"{width:g}",
                "height": f"{height:g}",
                "role": "img",
                "aria-labelledby": named,
            },
        )
        ET.SubElement(self.root, "title", {"id": f"{id}-title"}).text = visible(title)
        ET.SubElement(self.root, "desc", {"id": f"{id}-desc"}).text = visible(desc)

    def add(self, tag: str, kind: str, **attributes: float | str) -> None:
        """An element of some class; underscores in names of attributes stand for hyphens.

        >>> picture = Picture("one", 20, 10, "", "")
        >>> picture.add("path", "oil", d="M0,5", stroke_width=1.0)
        >>> ET.tostring(picture.root[-1], encoding="unicode")
        '<path class="oil" d="M0,5" stroke-width="1" />'
        """
        given = {
            name.replace("_", "-"): value if isinstance(value, str) else f"{value:g}"
            for name, value in attributes.items()
        }
        ET.SubElement(self.root, tag, {"class": kind, **given})

    def line(self, points: Iterable[tuple[float, float]], kind: str, **more: float | str) -> None:
        """A line through points.

        >>> picture = Picture("one", 20, 10, "", "")
        >>> picture.line([(0, 5), (20, 7.5)], "oil")
        >>> ET.tostring(picture.root[-1], encoding="unicode")
        '<polyline class="oil" points="0,5 20,7.5" />'
        """
        joined = " ".join(f"{x:g},{y:g}" for x, y in points)
        self.add("polyline", kind, points=joined, **more)

    def box(
        self, x: float, y: float, width: float, height: float, kind: str, **more: float | str
    ) -> None:
        """A rectangle by its upper left corner.

        >>> picture = Picture("one", 20, 10, "", "")
        >>> picture.box(1, 2, 6, 4, "part", rx=3)
        >>> ET.tostring(picture.root[-1], encoding="unicode")
        '<rect class="part" x="1" y="2" width="6" height="4" rx="3" />'
        """
        self.add("rect", kind, x=x, y=y, width=width, height=height, **more)

    def ring(self, x: float, y: float, radius: float, kind: str, **more: float | str) -> None:
        """A circle by its middle.

        >>> picture = Picture("one", 20, 10, "", "")
        >>> picture.ring(10, 5, 2.5, "part")
        >>> ET.tostring(picture.root[-1], encoding="unicode")
        '<circle class="part" cx="10" cy="5" r="2.5" />'
        """
        self.add("circle", kind, cx=x, cy=y, r=radius, **more)

    def curve(self, path: str, kind: str, **more: float | str) -> None:
        """A path in SVG's own words.

        >>> picture = Picture("one", 20, 10, "", "")
        >>> picture.curve("M0,0 q5,5 10,0", "stroke")
        >>> ET.tostring(picture.root[-1], encoding="unicode")
        '<path class="stroke" d="M0,0 q5,5 10,0" />'
        """
        self.add("path", kind, d=path, **more)

    def text(
        self, x: float, y: float, text: str, kind: str, room: float, anchor: str = "middle"
    ) -> None:
        """Text on a base line, squeezed or cut to its room; what is cut is told by its title.

        >>> picture = Picture("one", 60, 20, "", "")  # ten letters at 11 px are 68.2 px
        >>> for room in (70, 60, 40):
        ...     picture.text(0, 15, "manifold A", "name", room)
        >>> [(each.text, each.get("textLength")) for each in picture.root[2:]]
        [('manifold A', None), ('manifold A', '60'), ('mani…', None)]
        """
        size = _SIZES[kind]
        shown = visible(text)
        wide = LETTER * size * len(shown)
        given = {"class": kind, "x": f"{x:g}", "y": f"{y:g}", "text-anchor": anchor}
        if wide > room / SQUEEZE:
            shown = shown[: max(1, int(room / (LETTER * size)) - 1)] + "…"
        elif wide > room:
            given |= {"textLength": f"{room:g}", "lengthAdjust": "spacingAndGlyphs"}
        ET.SubElement(self.root, "text", given).text = shown

    def silent(self) -> str:
        """The same for who cannot see it to pass over, where the text beside it says the same.

        >>> Picture("one", 20, 10, "A line", "From left to right").silent()
        '<svg class="sign" aria-hidden="true" viewBox="0 0 20 10" width="20" height="10" />'
        """
        self.root.attrib = {"class": "sign", "aria-hidden": "true"} | {
            name: self.root.attrib[name] for name in ("viewBox", "width", "height")
        }
        for named in list(self.root)[:2]:
            self.root.remove(named)
        return self.markup()

    def markup(self) -> str:
        """The picture as an element that can stand in a page.

        >>> picture = Picture("one", 20, 10, "Row <1>", "")
        >>> ">Row &lt;1&gt;</title>" in picture.markup(), picture.markup().startswith("<svg ")
        (True, True)
        """
        return ET.tostring(self.root, encoding="unicode")


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
