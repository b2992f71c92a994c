"""How a command ends that did not end well: what was foreseen is said, the rest is written down.

Nothing here needs a package that is installed beside the program: what cannot even be imported
ends here too. What writes details down is imported when there are some.
"""

from __future__ import annotations

import os
import re
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from diagnose.errors import FileProblems, RowfaultError, on_one_line
from diagnose.version import __version__

INTERRUPTED = 128 + signal.SIGINT
"""The exit status of a command that somebody stopped with Ctrl-C."""
FAULT_OF_OURS = 70
"""The exit status of what the program should have handled (``EX_SOFTWARE`` of sysexits.h)."""
_MOST_SHOWN = 20
"""So many problems are printed one by one; the rest are counted."""
_LONGEST_LINE = 1_000
"""Letters of one message that are printed."""
LONGEST_DETAILS = 200_000
"""Letters that are written down of what was not foreseen."""
MOST_KEPT = 20
"""So many files of details are kept in the user's folder; older ones go."""
STEM = "rowfault-error-"
ADDRESS = re.compile(r"(\w[\w+.-]*://)\S*")
"""An address, which may hold a password."""


def message_of(error: BaseException) -> int:
    """Say on standard error what went wrong; the exit status.

    What nobody foresaw is written into a file, and the message says where. Nothing is said of
    Ctrl-C, whatever it turned into on its way.

    >>> import contextlib
    >>> with contextlib.redirect_stderr(sys.stdout):
    ...     message_of(PermissionError(13, "Permission denied", "mine.yaml"))
    Error: mine.yaml: Permission denied
    1
    """
    if any(isinstance(each, KeyboardInterrupt) for each in _chain(error)):
        return INTERRUPTED
    lines = _foreseen(error)
    status = error.exit_code if isinstance(error, RowfaultError) else 1
    if lines is None:
        lines, status = [_fault_of_ours(error)], FAULT_OF_OURS
    with suppress(OSError):
        sys.stderr.writelines(f"{line}\n" for line in _shown(lines))
    return status


def _chain(error: BaseException | None) -> Iterator[BaseException]:
    """The error, what it came from, and so on.

    >>> try:
    ...     raise RuntimeError("cannot set name") from KeyboardInterrupt()
    ... except RuntimeError as error:
    ...     [type(each).__name__ for each in _chain(error)]
    ['RuntimeError', 'KeyboardInterrupt']
    """
    seen: set[int] = set()
    while error is not None and id(error) not in seen:
        seen.add(id(error))
        yield error
        error = error.__cause__ or error.__context__


def _foreseen(error: BaseException) -> Sequence[str] | None:
    """What to say of an error that can be expected; None of any other."""
    if isinstance(error, FileProblems):
        return [str(problem) for problem in error.problems]
    if isinstance(error, RowfaultError):
        return [str(error)]
    if any(isinstance(each, MemoryError) for each in _chain(error)):
        return [
            "not enough memory for this; leave out runs or rows that are not needed, or close "
            "other programs"
        ]
    if isinstance(error, OSError):
        return [system_says(error)]
    return None


def _shown(lines: Sequence[str]) -> Iterator[str]:
    """One problem on one line, several below each other."""
    lines = [_short(on_one_line(line)) for line in lines]
    if len(lines) == 1:
        yield f"Error: {lines[0]}"
        return
    yield f"Error: {len(lines):,} things are wrong"
    yield from (f"  {line}" for line in lines[:_MOST_SHOWN])
    if len(lines) > _MOST_SHOWN:
        yield f"  and {len(lines) - _MOST_SHOWN:,} more"


def _short(line: str) -> str:
    """The line without its middle, where it is longer than anybody reads.

    >>> len(_short("x" * 5000)) <= _LONGEST_LINE
    True
    """
    half = _LONGEST_LINE // 2 - 5
    return line if len(line) <= _LONGEST_LINE else f"{line[:half]} … {line[-half:]}"


def system_says(error: OSError) -> str:
    """What the system refused, and about which file.

    >>> system_says(FileNotFoundError(2, "No such file or directory", "case.yaml"))
    'case.yaml: No such file or directory'
    """
    what = error.strerror or str(error) or type(error).__name__
    name = error.filename
    name = os.fsdecode(name) if isinstance(name, bytes | os.PathLike) else name
    return f"{name}: {what}" if name else what


def _fault_of_ours(error: BaseException) -> str:
    """What to say of an error that nobody foresaw, once its details are written down."""
    what = f"rowfault ran into a problem of its own ({type(error).__name__})"
    try:
        path = _written(_details(error))
    except Exception:  # even a broken __str__ or a full disk ends in one line
        return f"{what}; its details could not be written down anywhere"
    return f"{what}; the details are in {path}: please report it and send that file along"


def _details(error: BaseException) -> str:
    """Program, Python, system, what was typed and where it broke; no address, for passwords."""
    import platform
    import traceback

    head = f"rowfault {__version__}, Python {platform.python_version()}, {platform.platform()}"
    typed = " ".join(map(repr, sys.argv[1:]))
    trace = "".join(traceback.format_exception(error))
    text = f"{head}\n{datetime.now(UTC).isoformat()}\ntyped: {typed[:2_000]}\n\n"
    return ADDRESS.sub(r"\1...", text + trace[-LONGEST_DETAILS:])


def _written(text: str) -> Path:
    """Where the details were written, for their owner alone. Raises `OSError`."""
    import secrets

    name = f"{STEM}{datetime.now(UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(4)}.txt"
    for folder in _folders():
        with suppress(OSError):
            path = folder / name
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with open(descriptor, "w", encoding="utf-8", errors="backslashreplace") as file:
                file.write(text)
            _tidied(folder)
            return path
    raise OSError(f"no folder could be written to: {', '.join(map(str, _folders()))}")


def _folders() -> Iterator[Path]:
    """The user's folder for such things, then the one for what is temporary."""
    with suppress(ImportError, RuntimeError, OSError):
        import platformdirs

        folder = Path(platformdirs.user_cache_path("rowfault", False)) / "errors"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        yield folder
    with suppress(OSError):
        import tempfile

        yield Path(tempfile.gettempdir())


def _tidied(folder: Path) -> None:
    """Let only the newest files of details stay."""
    if folder.name == "errors":
        for old in sorted(folder.glob(f"{STEM}*.txt"))[:-MOST_KEPT]:
            old.unlink(missing_ok=True)
