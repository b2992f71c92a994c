"""Text files: read up to a limit, in UTF-8, with line and column of what cannot be read."""

from __future__ import annotations

import errno
import os
import select
import stat
import time
from pathlib import Path

from diagnose.errors import FileProblems, Place, Problem, cut

_LONGEST_PATH = 4096


def read_text_file(path: Path | str, most: int, remedy: str = "split the file") -> str:
    """The text of a file of at most so many bytes, without its byte order mark.

    ``remedy`` is what to do about one that is too long. A pipe is read as far as it goes; one that
    stays silent is refused, and so is a device that never ends. Raises `FileProblems`.

    >>> from diagnose.paths import shipped
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


LONGEST_WAIT = 10.0
"""Seconds that a pipe may keep quiet before it is given up."""

CHUNK = 65_536


def read_at_most(path: Path | str, most: int, wait: float | None = None) -> bytes:
    """What a file holds; when that is more than ``most`` bytes, only the first ``most`` + 1.

    A pipe or a device is read as far, and given up once nothing came for ``wait`` seconds
    (`LONGEST_WAIT` when left out).
    Raises `OSError`, and `ValueError` for a name that no file can have.

    >>> read_at_most(os.devnull, 10), len(read_at_most(__file__, 10))
    (b'', 11)
    """
    descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    with open(descriptor, "rb") as stream:
        if stat.S_ISREG(os.fstat(descriptor).st_mode) or not hasattr(select, "poll"):
            return stream.read(most + 1)
        return _read_patiently(descriptor, most + 1, LONGEST_WAIT if wait is None else wait)


def _read_patiently(descriptor: int, size: int, wait: float) -> bytes:
    """Up to so many bytes of what may keep quiet, or never end."""
    poll, read = select.poll(), bytearray()
    poll.register(descriptor, select.POLLIN)
    while len(read) < size:
        if not poll.poll(wait * 1000):
            raise TimeoutError(errno.ETIMEDOUT, f"nothing for {wait:g} seconds")
        try:
            chunk = os.read(descriptor, min(CHUNK, size - len(read)))
        except BlockingIOError:
            time.sleep(0.01)  # a writer that came and went between the two calls
            continue
        if not chunk:
            break
        read += chunk
    return bytes(read)
