"""Standard output and error on terminals that lack some letters."""

from __future__ import annotations

import codecs
import gc
import io
import os
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


def flushed(status: str | int | None) -> str | int | None:
    """The exit status once all that was printed is out.

    What cannot be printed any more is dropped, or Python would complain of it once more at the
    end. A reader that went away is nothing to tell of; anything else is told, unless an error
    was told already.
    """
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if status or isinstance(error, BrokenPipeError):
            return status
        sys.stderr.write(f"Error: {error.strerror or error}\n")
        return 1
    return status


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


def started() -> None:
    """Collect garbage from here on, except what was imported, which stays."""
    gc.freeze()
    gc.enable()
