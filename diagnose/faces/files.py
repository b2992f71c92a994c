"""Files that are written whole or not at all."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from diagnose.errors import Unavailable


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
    place = path.resolve()
    if place.exists() and not place.is_file():
        raise Unavailable(f"{path}: expected a file to write, got what is none; use -o - to print")
    if place.exists() and not force:
        raise Unavailable(
            f"{path}: expected a name that is not taken, got a file that is there already; "
            "choose another name, or say --force to replace it"
        )
    beside = place.with_name(f".{place.name[:100]}.{secrets.token_hex(4)}")
    try:
        with beside.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(place)
    except OSError as error:
        beside.unlink(missing_ok=True)
        raise Unavailable(
            f"{path}: expected a place where a file can be written, got "
            f"{error.strerror or error}; nothing was left behind"
        ) from error
