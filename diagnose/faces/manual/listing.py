"""The list of files that the program wrote into a folder: what is not on it is a person's."""

from __future__ import annotations

import hashlib
import json
import re
import stat
from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path, PurePosixPath

from diagnose.errors import FileProblems, Place, Problem, quoted
from diagnose.faces.files import write_whole
from diagnose.reading import read_at_most

LISTING = "rowfault-manual.json"
SCHEMA = "rowfault/manual/1"
LARGEST_LISTING, LARGEST_PAGE = 4_000_000, 4_000_000
NAME = re.compile(r"\w[\w.-]*(/\w[\w.-]*)*", re.ASCII)
"""Where a page may stand: below the folder, and nowhere else."""
MARK = re.compile(r"[0-9a-f]{64}")
REMEDY, MOVE = "choose another name for the manual", "move or delete it, then try again"

Marks = Mapping[str, Collection[str]]
"""By its name, the SHA-256 of what the program wrote into a file."""


def mark_of(text: str | bytes) -> str:
    """The SHA-256 by which a file is known again.

    >>> mark_of("abc")[:16]
    'ba7816bf8f01cfea'
    """
    raw = text if isinstance(text, bytes) else text.encode("utf-8")
    return hashlib.sha256(raw).hexdigest()


def sound_names(names: Iterable[str], folder: Path) -> None:
    """Raises `FileProblems` for names that lead out of the folder, or to its list.

    >>> sound_names(["../mine"], Path("manual"))
    Traceback (most recent call last):
    diagnose.errors.FileProblems: manual: expected a page inside the folder, got '../mine'
    """
    wrong = [name for name in names if not NAME.fullmatch(name) or name == LISTING]
    if wrong:
        expected, where = "a page inside the folder", Place(str(folder))
        raise FileProblems([Problem(where, expected, quoted(name)) for name in wrong])


def write_listing(folder: Path, marks: Marks) -> None:
    """Write the list, whole or not at all. Raises `Unavailable`."""
    files = {name: sorted(marks[name]) for name in sorted(marks)}
    text = json.dumps({"schema": SCHEMA, "files": files}, indent=1)
    write_whole(folder / LISTING, text + "\n", force=True)


def read_listing(folder: Path) -> Marks:
    """What the list says. Raises `FileProblems` when it is damaged or leads out of the folder."""
    path = folder / LISTING
    try:
        mode = path.lstat().st_mode
        if not stat.S_ISREG(mode):
            raise ValueError(f"something that is no file: {stat.filemode(mode)}")
        raw = read_at_most(path, LARGEST_LISTING)
        if len(raw) > LARGEST_LISTING:
            raise ValueError(f"more than {LARGEST_LISTING:,} bytes")
        return _marks(json.loads(raw))
    except (OSError, ValueError, RecursionError) as error:
        got = "a damaged one" if isinstance(error, RecursionError) else f"a damaged one ({error})"
        expected = "the list of files that rowfault wrote here"
        raise FileProblems([Problem(Place(str(path)), expected, got, REMEDY)]) from error


def _marks(data: object) -> Marks:
    """The list's own data. Raises `ValueError` unless all of it is as it was written."""
    if not isinstance(data, dict) or set(data) != {"schema", "files"} or data["schema"] != SCHEMA:
        raise ValueError(f"not one of the form {SCHEMA}")
    if not isinstance(data["files"], dict):
        raise ValueError(f"{quoted(data['files'])} where its files should be")
    for name, marks in data["files"].items():
        if not NAME.fullmatch(name) or name == LISTING:
            raise ValueError(f"{quoted(name)} is no page inside the folder")
        if not isinstance(marks, list) or not all(
            isinstance(mark, str) and MARK.fullmatch(mark) for mark in marks
        ):
            raise ValueError(f"{quoted(name)} has no SHA-256")
    return {name: frozenset(marks) for name, marks in data["files"].items()}


def not_ours(folder: Path, before: Marks, wanted: Iterable[str]) -> list[Problem]:
    """What stands where a page was or will be, and is not as the program wrote it."""
    names = sorted({*before, *wanted})
    return [problem for name in names for problem in _wrong(folder, before, name)]


def _wrong(folder: Path, before: Marks, name: str) -> Iterator[Problem]:
    place, path = Place(str(folder / name)), folder / name
    for above in reversed(PurePosixPath(name).parents[:-1]):
        mode = _mode(folder / above)
        if mode is None:
            return
        if not stat.S_ISDIR(mode):
            where = Place(str(folder / above))
            yield Problem(where, "a folder of the manual", "something else", MOVE)
            return
    mode = _mode(path)
    if mode is None:
        return
    if not stat.S_ISREG(mode):
        yield Problem(place, "a page of the manual", "something else", MOVE)
    elif name not in before:
        yield Problem(place, "no file, or one that rowfault wrote", "one of yours", MOVE)
    elif mark_of(read_at_most(path, LARGEST_PAGE)) not in before[name]:
        yield Problem(place, "the page as rowfault wrote it", "one that was changed since", MOVE)


def _mode(path: Path) -> int | None:
    """What stands at a place, itself and not where it leads; None for nothing."""
    try:
        return path.lstat().st_mode
    except FileNotFoundError:
        return None
