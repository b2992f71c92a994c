"""Where text goes: consoles that fit the terminal, and letters that it can show.

Colour is an extra. It is left out when the output is not a terminal, when the environment says
``NO_COLOR`` and when the user says ``--no-colour``.
"""

from __future__ import annotations

import codecs
import io
import json
import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

STYLES = {
    "pass": "#0072B2",
    "fail": "bold #D55E00",
    "unsure": "bold",
    "quiet": "dim",
    "title": "bold",
    "caution": "bold",
}
STAND_INS = {
    "–": "-",
    "—": "-",
    "−": "-",
    "·": "-",
    "•": "-",
    "°": "",
    "Ω": "ohm",
    "×": "x",
    "→": ">",
    "’": "'",
    "…": "...",
    "├": "|",
    "└": "`",
    "│": "|",
    "─": "-",
    "≤": "<=",
    "≥": ">=",
}


def console(colour: bool = True) -> Console:
    """A console on standard output with the project's styles; ``colour=False`` has none."""
    from rich.console import Console
    from rich.theme import Theme

    return Console(
        theme=Theme(STYLES),
        highlight=False,
        markup=False,
        emoji=False,
        no_color=None if colour else True,
    )


def print_json(data: Mapping[str, object]) -> None:
    """Print one JSON document in plain ASCII, so that any terminal and any pipe can carry it."""
    sys.stdout.write(json.dumps(data, indent=2, allow_nan=False) + "\n")


def show_what_the_terminal_can() -> None:
    """Let letters that the terminal's encoding lacks come out as the nearest plain ones."""
    codecs.register_error("rowfault.plain", _stand_in)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="rowfault.plain")


def _stand_in(error: UnicodeError) -> tuple[str, int]:
    """The plain text for the letters that could not be encoded, and where to go on.

    >>> codecs.register_error("rowfault.plain", _stand_in)
    >>> "10–12 bar, 49 °C".encode("ascii", "rowfault.plain")
    b'10-12 bar, 49 C'
    """
    if not isinstance(error, UnicodeEncodeError):
        raise error
    letters = error.object[error.start : error.end]
    return "".join(STAND_INS.get(letter, "?") for letter in letters), error.end
