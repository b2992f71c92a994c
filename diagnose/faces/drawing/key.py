"""What the symbols and lines of a drawing mean, and the marks of rows."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.faces.drawing import symbols
from diagnose.faces.drawing.svg import Picture

LINES = (
    ("oil under pressure", "oil"),
    ("oil on its way back", "oil return"),
    ("wire", "wire"),
    ("suspected hose or wire", "suspected"),
)
SYMBOLS: tuple[tuple[str, symbols.Symbol], ...] = (
    ("row valve and its coil", symbols.directional_valve),
    ("row cylinder", symbols.cylinder),
    ("row pressure sensor", symbols.sensor),
    ("row driver", symbols.driver),
    ("row connector", symbols.connector),
    ("trapped air", symbols.air),
    ("bleed port", symbols.port),
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
        draw(picture, 28, 17, symbols.shade(0))
        yield says, picture.silent()
    picture = Picture("key-shade", 52, 30, "", "")
    for place, chance in enumerate((0.1, 0.5, 1.0)):
        picture.box(4 + 15 * place, 7, 14, 16, "part", **symbols.shade(chance))
    yield "the darker, the more probably at fault", picture.silent()


def mark(name: str) -> str:
    """The mark of a row as markup: ``fail``, ``pass``, ``unsure`` or ``not-run``.

    >>> 'class="fail-box"' in mark("fail")
    True
    """
    picture = Picture(f"mark-{name}", 32, 32, "", "")
    symbols.row_mark(picture, 16, 16, name)
    return picture.silent()
