"""Standard output and error on terminals that lack some letters."""

from __future__ import annotations

import codecs
import io
import sys

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
