"""Files that somebody names are read up to a limit, and never waited for without end."""

from __future__ import annotations

import errno
import os
import select
import stat
import time
from pathlib import Path

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
