"""Read a text file that may be anything, with what is wrong with it said."""

from __future__ import annotations

from pathlib import Path

from diagnose.errors import FileProblems, Place, Problem, cut
from diagnose.reading import read_at_most

_LONGEST_PATH = 4096


def read_text_file(path: Path | str, most: int, remedy: str = "split the file") -> str:
    """The text of a file of at most so many bytes, without its byte order mark.

    ``remedy`` is what to do about one that is too long. A pipe is read as far as it goes; one that
    stays silent is refused, and so is a device that never ends. Raises `FileProblems`.

    >>> from diagnose.knowledge.places import shipped
    >>> read_text_file(shipped().setups / "parked.yaml", 10_000).splitlines()[0]
    'id: parked'
    """
    where = Place(cut(str(path)) if len(str(path)) > _LONGEST_PATH else str(path))
    try:
        raw = read_at_most(path, most)
    except (OSError, ValueError) as error:
        raise refused(where, "a file that can be read", _reason(error)) from error
    if len(raw) > most:
        raise refused(where, f"at most {most:,} bytes", "more", remedy)
    return _decoded(raw, where)


def _decoded(raw: bytes, where: Place) -> str:
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = Place(where.source, raw.count(b"\n", 0, error.start) + 1)
        got = f"byte 0x{raw[error.start]:02x}"
        raise refused(line, "text in UTF-8", got, "save it as UTF-8") from error


def refused(where: Place, expected: str, got: str, remedy: str = "") -> FileProblems:
    """The error for a file that cannot be read at all.

    >>> str(refused(Place("mine.yaml", 2), "one document in the file", "a second one"))
    'mine.yaml:2: expected one document in the file, got a second one'
    """
    return FileProblems([Problem(where, expected, got, remedy)])


def _reason(error: OSError | ValueError) -> str:
    reason = error.strerror if isinstance(error, OSError) else str(error)
    return (reason or str(error)).lower()
