"""What sound data files said, remembered beside the user's other caches, so that starting is quick.

Only plain data is kept, as JSON, under the SHA-256 of all the files that it came from: it counts
for files with the same content and for no others. Nothing in a cache is ever run, and none is
believed that is damaged, or that anybody else owns or may write. A cache that cannot be read or
written is as good as none.
"""

from __future__ import annotations

import json
import os
import re
import stat
from collections.abc import Mapping, Sequence
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any
from zlib import crc32

import platformdirs

from diagnose.paths import NOWHERE
from diagnose.record import record
from diagnose.tolerances import LARGEST_CACHE, LARGEST_YAML, MOST_CACHES
from diagnose.version import __version__

CachedData = Mapping[str, Any]

OFF = "ROWFAULT_NO_CACHE"
"""When this is set, nothing is remembered."""

_OURS = re.compile(r"\.?[a-z]+(-[0-9a-f]{8}){1,2}\.json(\.[0-9a-f]{8})?")
"""The names of caches, and of those that were being written when the program was killed."""
_UNFOLLOWED = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)


class Memory:
    """What is remembered of some files; made before they are read.

    A file that changes while it is read is so never taken for the one that was read. ``about`` is
    what else it depends on, in any words that change with it.
    """

    def __init__(self, name: str, paths: Sequence[Path], about: str = "") -> None:
        self._place, self._paths, self._about = _place(name), tuple(paths), about
        self._seen = None if os.environ.get(OFF) else _seen(self._paths, about)

    def recall(self) -> list[CachedData] | None:
        """The data of files that were found sound together, in their order; None if not known."""
        with suppress(OSError, ValueError, KeyError, TypeError, RecursionError):
            head, _, body = _believed(self._place).partition(b"\n")
            if self._seen is not None and head == _head(self._seen.key, body):
                return list(json.loads(body))
        return None

    def remember(self, data: Sequence[CachedData]) -> None:
        """Keep the data of files that are sound together, if they are still what they were."""
        if self._seen is None or self._seen != _seen(self._paths, self._about):
            return
        with suppress(OSError, ValueError):
            body = json.dumps(list(data)).encode()
            if len(body) <= LARGEST_CACHE:
                _write(self._place, _head(self._seen.key, body) + b"\n" + body)
                _forget(self._place.parent)


@record
class _Seen:
    """The hash of some files, and what tells that none was written meanwhile."""

    key: str
    times: tuple[tuple[int, int, int], ...]


def _place(name: str) -> Path:
    """Where it is kept; programs that are installed twice do not forget each other's."""
    program = crc32(os.fsencode(__file__))
    try:
        folder = Path(platformdirs.user_cache_path("rowfault", False))
    except RuntimeError:  # somebody without a home
        folder = NOWHERE
    return folder / f"{name}-{program:08x}.json"


def _seen(paths: Sequence[Path], about: str) -> _Seen | None:
    """What the files are now, hashed with their names and the program's version; None without."""
    hashed = sha256(f"{__version__}\0{about}".encode("utf-8", "surrogateescape"))
    times = []
    try:
        for path in paths:
            content, status = _bytes_of(path, LARGEST_YAML)
            hashed.update(b"\0%b\0%d\0" % (os.fsencode(path), len(content)))
            hashed.update(content)
            times.append((status.st_mtime_ns, status.st_ctime_ns, status.st_ino))
    except (OSError, ValueError):
        return None
    return _Seen(hashed.hexdigest(), tuple(times))


def _bytes_of(path: Path, most: int, flags: int = 0) -> tuple[bytes, os.stat_result]:
    """An ordinary file, whole, and its status. Raises `OSError`, or `ValueError` for another."""
    file = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | flags)
    try:
        status = os.fstat(file)
        if not stat.S_ISREG(status.st_mode) or status.st_size > most:
            raise ValueError(f"expected a file of at most {most} bytes, got {status.st_size}")
        return os.read(file, status.st_size + 1), status
    finally:
        os.close(file)


def _believed(place: Path) -> bytes:
    """A cache that nobody else can have written. Raises `OSError` or `ValueError`."""
    content, status = _bytes_of(place, LARGEST_CACHE + 200, _UNFOLLOWED)
    ours = not hasattr(os, "geteuid") or status.st_uid == os.geteuid()
    if not ours or status.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        raise ValueError(f"expected a file of one's own, got {stat.filemode(status.st_mode)}")
    return content


def _head(key: str, body: bytes) -> bytes:
    """The first line of a cache: what it stands for, and the hash that shows it undamaged."""
    return f"{key} {sha256(body).hexdigest()}".encode()


def _write(place: Path, content: bytes) -> None:
    """Put a whole file into its place at once, for its owner alone. Raises `OSError`."""
    import secrets  # noqa: PLC0415 # slow to import, and needed only after a change

    place.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    beside = place.with_name(f".{place.name}.{secrets.token_hex(4)}")
    file = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _UNFOLLOWED, 0o600)
    try:
        with os.fdopen(file, "wb") as stream:
            stream.write(content)
        beside.replace(place)
    finally:
        beside.unlink(missing_ok=True)


def _forget(folder: Path) -> None:
    """Remove all but the last few caches, those of programs that are no longer used first."""
    found = [entry for entry in os.scandir(folder) if _OURS.fullmatch(entry.name)]
    found.sort(key=lambda entry: entry.stat(follow_symlinks=False).st_mtime_ns, reverse=True)
    for entry in found[MOST_CACHES:]:
        Path(entry.path).unlink(missing_ok=True)
