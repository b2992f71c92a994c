"""One SVG picture: elements with attributes, and text that keeps to its room."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree import ElementTree as ET

from diagnose.ui.plaintext import visible

LETTER = 0.62
"""Mean width of a letter against the size of the type, a little too wide for most types."""

SQUEEZE = 0.85
"""Text that is too long by no more than this is set tighter; longer text is cut."""

SIZES = {"small": 11.0, "name": 11.0, "label": 11.0, "title": 13.0, "number": 14.0}
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
        size = SIZES[kind]
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
