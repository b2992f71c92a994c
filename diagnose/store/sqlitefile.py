"""The file of a casebook of SQLite: made for its owner alone, read where it cannot be written."""

from __future__ import annotations

import os
import secrets
import shutil
import sqlite3
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import quote, unquote

from sqlalchemy.engine import URL

from diagnose.errors import Unavailable

_BESIDE = ("", "-wal", "-shm", "-journal")
"""What SQLite adds to the file's name for the files that it keeps beside it."""


def file_of(url: URL) -> Path | None:
    """The file that the URL of a casebook names; None in memory, and for a server.

    >>> from sqlalchemy.engine import make_url
    >>> file_of(make_url("sqlite:///cases.sqlite")), file_of(make_url("sqlite://"))
    (PosixPath('cases.sqlite'), None)
    """
    named = url.database or ""
    if named.startswith("file:"):
        named = unquote(named.removeprefix("file:").partition("?")[0])
    in_memory = named in ("", ":memory:") or url.query.get("mode") == "memory"
    return None if in_memory or url.get_backend_name() != "sqlite" else Path(named)


def is_read_only_file(file: Path, url: URL) -> bool:
    """Whether a file is there that this user cannot write, or not its folder, or must not."""
    if url.query.get("mode") == "ro" or "immutable" in url.query:
        return True
    try:
        return file.is_file() and not (_may_write(file) and _may_write(file.absolute().parent))
    except OSError:  # SQLite says it better
        return False


def _may_write(path: Path) -> bool:
    effective = os.access in os.supports_effective_ids
    return os.access(path, os.W_OK, effective_ids=effective)


def tighten(file: Path) -> None:
    """Take the file, and those beside it, from everybody but their owner."""
    for end in _BESIDE:
        path = Path(f"{file}{end}")
        try:
            mode = stat.S_IMODE(path.stat().st_mode)
            if mode & 0o077 and path.is_file():
                path.chmod(mode & 0o700)
        except OSError:  # not there, or not ours
            continue


def refuse_empty(file: Path) -> None:
    """Raise `Unavailable` for a file with nothing in it: a casebook was never that short."""
    if file.is_file() and file.stat().st_size == 0:
        raise Unavailable(
            f"{file}: expected a casebook, got an empty file; put your last copy there, or delete "
            "the file to begin a new casebook"
        )


def make(file: Path, fill: Callable[[Path], None]) -> None:
    """Make a new file, whole or not at all, that only its owner can read.

    ``fill`` makes the tables in the file that it is given. Where somebody else was quicker, theirs
    stays. Raises `OSError`.
    """
    beside = file.with_name(f".{file.name[:100]}.{secrets.token_hex(4)}")
    os.close(os.open(beside, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    try:
        fill(beside)
        try:
            os.link(beside, file)
        except FileExistsError:
            pass
        except OSError:  # a file system without links
            if not file.exists():
                beside.rename(file)
    finally:
        for end in _BESIDE:
            Path(f"{beside}{end}").unlink(missing_ok=True)


def copied(file: Path) -> sqlite3.Connection:
    """What a file holds that can only be read, in memory. Raises `sqlite3.Error` or `OSError`.

    What its log beside it holds is read too, from copies of both where SQLite may not read them
    because it would have to write beside them.
    """
    memory = sqlite3.connect(":memory:", check_same_thread=False)
    log = Path(f"{file}-wal")
    try:
        if not log.exists():  # nobody has it open
            _read_into(memory, f"{_uri(file)}?mode=ro&immutable=1")
            return memory
        try:
            _read_into(memory, f"{_uri(file)}?mode=ro")
        except sqlite3.OperationalError:
            with _copies(file, log) as copy:
                _read_into(memory, _uri(copy))
    except BaseException:
        memory.close()
        raise
    return memory


def _read_into(memory: sqlite3.Connection, uri: str) -> None:
    with closing(sqlite3.connect(uri, uri=True)) as source:
        source.backup(memory)


def _uri(file: Path) -> str:
    return f"file:{quote(str(file))}"


@contextmanager
def _copies(file: Path, log: Path) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="rowfault-") as folder:
        copy = Path(folder) / "casebook.sqlite"
        shutil.copyfile(file, copy)
        shutil.copyfile(log, f"{copy}-wal")
        yield copy
