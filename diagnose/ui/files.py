"""Files that are written whole or not at all, and never over a person's unasked."""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from contextlib import suppress
from pathlib import Path

from diagnose.errors import Unavailable

NO_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK}
"""What a disk says that knows no second name for a file."""


def write_whole(path: Path, text: str, force: bool = False) -> None:
    """Write a file beside its place and move it there; what it held before stands until then.

    Raises `Unavailable` when something is there already and ``force`` was not said, when it is no
    ordinary file, or when the system refuses.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_whole(Path(folder) / "mine.md", "first")
    ...     write_whole(Path(folder) / "mine.md", "second", force=True)
    ...     [(path.name, path.read_text()) for path in Path(folder).iterdir()]
    [('mine.md', 'second')]
    """
    may_be_written(path, force)
    try:
        place = path.resolve()
        beside = place.with_name(f".{place.name[:40]}.{secrets.token_hex(4)}")
        try:
            with beside.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            _put(beside, place, force)
        finally:
            beside.unlink(missing_ok=True)
    except FileExistsError as error:
        raise _taken(path) from error
    except (OSError, ValueError, RuntimeError) as error:
        reason = error.strerror if isinstance(error, OSError) else None
        raise Unavailable(
            f"{path}: expected a place where a file can be written, got "
            f"{reason or error}; nothing was left behind"
        ) from error


def may_be_written(path: Path, force: bool) -> None:
    """Raises `Unavailable` where `write_whole` would not write because of what is there."""
    try:
        there, ordinary = path.exists(), path.is_file()
    except OSError as error:
        got = error.strerror or str(error)
        raise Unavailable(f"{path}: expected a file to write, got {got}") from error
    if there and not ordinary:
        raise Unavailable(f"{path}: expected a file to write, got what is none; use -o - to print")
    if there and not force:
        raise _taken(path)


def _put(beside: Path, place: Path, force: bool) -> None:
    """Move a file to its place; without ``force``, never over one that came there meanwhile."""
    if force:
        with suppress(FileNotFoundError):
            shutil.copymode(place, beside)
        beside.replace(place)
        return
    try:
        os.link(beside, place)
    except OSError as error:
        if error.errno not in NO_LINKS:
            raise
        place.touch(exist_ok=False)
        beside.replace(place)


def _taken(path: Path) -> Unavailable:
    return Unavailable(
        f"{path}: expected a name that is not taken, got a file that is there already; "
        "choose another name, or say --force to replace it"
    )
