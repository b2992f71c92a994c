"""What is printed: what a terminal would obey is written out, signs it lacks are replaced."""

from __future__ import annotations

import codecs
import gc
import io
import os
import re
import sys
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from typing import Any, TextIO, cast

_KEPT = frozenset("\n\t\u200c\u200d\u00ad")
"""Marks that are not printed but belong to writing: line ends, joiners, soft hyphens."""
LONE_SURROGATES = re.compile("[\ud800-\udfff]")


def visible(text: str) -> str:
    r"""The text with every mark written out that cannot be seen, turns text around, or is none.

    >>> visible("row 5\u202e oops\x1b[31m"), visible("schräg\r\nλ")
    ('row 5\\u202e oops\\x1b[31m', 'schräg\nλ')
    """
    if text.replace("\n", "").isprintable():
        return text
    return "".join(map(_shown, text.replace("\r\n", "\n")))


def _shown(letter: str) -> str:
    if letter.isprintable() or letter in _KEPT or unicodedata.category(letter) == "Zs":
        return letter
    return letter.encode("unicode_escape").decode()


def encodable(data: object) -> object:
    r"""Plain data with half characters, which no encoding has, written out.

    >>> encodable({"name": ["\udcff", 6]})
    {'name': ['\\udcff', 6]}
    """
    if isinstance(data, str):
        return LONE_SURROGATES.sub(lambda half: _shown(half[0]), data)
    if isinstance(data, Mapping):
        return {encodable(name): encodable(value) for name, value in data.items()}
    if isinstance(data, Sequence):
        return [encodable(each) for each in data]
    return data


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
STREAMS = (0, 1, 2)
"""The numbers that input, output and error have for the system."""


class Guarded:
    """A text stream on which nothing but `write_as_is` can steer the terminal.

    It hides the bytes below it, or click would write to those where the terminal is ASCII.
    """

    def __init__(self, stream: TextIO) -> None:
        self.below = stream

    def write(self, text: str) -> int:
        r"""Write text with every mark that a terminal would obey written out.

        >>> Guarded(sys.stdout).write("row 5\x1b[2J")
        row 5\x1b[2J9
        """
        if not isinstance(text, str):
            raise TypeError(f"expected text to write, got {type(text).__name__}")
        self.below.write(visible(text))
        return len(text)

    def writelines(self, lines: Iterable[str]) -> None:
        """Write line after line, each as `write` does."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        if name == "buffer":
            raise AttributeError(name)
        return getattr(self.below, name)


@contextmanager
def guarded() -> Iterator[None]:
    """Let all that is printed pass `Guarded`, and letters that a terminal lacks have stand-ins.

    What is typed and no text comes in as its codes.
    """
    before = sys.stdout, sys.stderr
    codecs.register_error("rowfault.plain", _stand_in)
    for stream, errors in (
        (sys.stdout, "rowfault.plain"),
        (sys.stderr, "rowfault.plain"),
        (sys.stdin, "backslashreplace"),
    ):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=errors)
    sys.stdout, sys.stderr = (cast(TextIO, stream and Guarded(stream)) for stream in before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def bare(stream: Any) -> Any:
    """The stream below the guard: for the program's own colors, and for who edits a line.

    >>> bare(Guarded(sys.stdout)) is sys.stdout, bare(sys.stdout) is sys.stdout
    (True, True)
    """
    return stream.below if isinstance(stream, Guarded) else stream


def write_as_is(stream: Any, text: str) -> None:
    """Write what the program itself made for a terminal; text of users is harmless in it already.

    >>> write_as_is(Guarded(sys.stdout), "one")
    one
    """
    bare(stream).write(text)


def nothing_closed() -> None:
    """Put the empty device in the place of streams that the caller has closed.

    A file opened later would get the number of a closed one, and what is printed with it.
    ``sys.stdout`` stays None when there is nothing to print to.
    """
    for number in STREAMS:
        try:
            os.fstat(number)
        except OSError:
            with suppress(OSError):
                os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free: this one
    if sys.stdin is None:
        sys.stdin = io.StringIO()
    if sys.stderr is None:
        sys.stderr = io.StringIO()


def flushed(status: str | int | None) -> str | int | None:
    """The exit status once all that was printed is out.

    What cannot be printed any more is dropped, or Python would complain of it once more at the
    end. A reader that went away is nothing to tell of; anything else is told, unless an error
    was told already.
    """
    refused = _flush(sys.stdout)
    if refused and not status and not isinstance(refused, BrokenPipeError):
        status = 1
        with suppress(OSError):
            sys.stderr.write(f"Error: {refused.strerror or refused}\n")
    _flush(sys.stderr)
    return status


def _flush(stream: TextIO | None) -> OSError | None:
    """Why a stream could not be emptied; what is left in it is dropped then."""
    try:
        if stream is not None:
            stream.flush()
    except OSError as error:
        with suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), cast(TextIO, stream).fileno())
        return error
    return None


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
