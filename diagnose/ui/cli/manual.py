"""``rowfault manual``: write the pages into a folder, and touch nothing that a person made."""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
import tempfile
from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path, PurePosixPath

import click

from diagnose.errors import FileProblems, Place, Problem, Unavailable, quoted
from diagnose.formats.textfile import read_at_most
from diagnose.knowledge.base import load_knowledge
from diagnose.rules.loading import load_rules
from diagnose.ui.cli.options import FilePath
from diagnose.ui.files import write_whole
from diagnose.ui.lazy import Command
from diagnose.ui.manual.catalogue import Catalogue
from diagnose.ui.manual.site import CONTENTS, html_files, markdown_files
from diagnose.ui.terminal.output import print_lines
from diagnose.ui.words import how_many


@click.command("manual", cls=Command)
@click.argument("folder", type=FilePath(path_type=Path))
@click.option("--markdown", is_flag=True, help="Write Markdown instead of pages for a browser.")
@click.option("--force", is_flag=True, help="Replace the pages that rowfault wrote into FOLDER.")
@click.pass_context
def manual_command(context: click.Context, *, folder: Path, markdown: bool, force: bool) -> None:
    """Write the manual into a folder.

    A page for each rule, part kind, mode, check, circumstance, act, layout, command and word, and
    guides for the technician, dealer support and the apprentice. FOLDER/index.html is the first
    page; the pages need nothing but one another. Your own files in FOLDER stay as they are.

    Example:
      rowfault manual manual-pages
    """
    program = context.find_root().command
    assert isinstance(program, click.Group)
    published(program, folder, markdown=markdown, force=force)


def published(program: click.Group, folder: Path, *, markdown: bool, force: bool) -> None:
    """Write the manual and say where it begins.

    Raises `Unavailable` where nothing can be written, or something is there already, and
    `FileProblems` for what somebody changed in a manual that is there.
    """
    written_before(folder, force)
    catalogue = Catalogue(load_knowledge(), load_rules(), program)
    files = markdown_files(catalogue) if markdown else html_files(catalogue)
    write_folder(folder, files, force)
    first = folder / f"{CONTENTS}.{'md' if markdown else 'html'}"
    print_lines([f"{how_many(len(files), 'page')} written; the first is {first}"])


def write_folder(folder: Path, files: Mapping[str, str], force: bool = False) -> None:
    """Write files, and a list of them, into a folder that is new, empty, or has such a list.

    With ``force`` the files on the list are replaced, and those no longer wanted removed; all
    others stay. Everything is on the disk before the first file is put in place. Raises
    `Unavailable` and `FileProblems`, and changes nothing then.

    >>> with tempfile.TemporaryDirectory() as above:
    ...     for name in ("words/old.md", "words/new.md"):
    ...         write_folder(Path(above) / "manual", {name: "# fold"}, force=True)
    ...     [path.name for path in Path(above).rglob("*.md")]
    ['new.md']
    """
    sound_names(files, folder)
    before = written_before(folder, force)
    try:
        if before is None:
            _write_new(folder.resolve(), files)
        else:
            _replace(folder, files, before)
    except OSError as error:
        raise Unavailable(
            f"{folder}: expected a place where a folder can be written, got "
            f"{error.strerror or error}; nothing was lost"
        ) from error


def written_before(folder: Path, force: bool) -> Marks | None:
    """What the program wrote into a folder earlier; None when the folder is new or empty.

    Raises `Unavailable` when it holds anything else, or may not be replaced; `FileProblems` when
    its list is damaged.
    """
    if not folder.exists() and not folder.is_symlink():
        return None
    if not folder.is_dir():
        raise Unavailable(f"{folder}: expected a folder, got something else; choose another name")
    if not any(folder.iterdir()):
        return None
    if not os.path.lexists(folder / LISTING):
        raise Unavailable(
            f"{folder}: expected a new or empty folder, got one with files in it and no list "
            f"({LISTING}) of what rowfault wrote there; choose another name"
        )
    marks = read_listing(folder)
    if not force:
        raise Unavailable(
            f"{folder}: expected a name that is not taken, got a manual that is there already; "
            "choose another name, or say --force to replace it"
        )
    return marks


def _write_new(place: Path, files: Mapping[str, str]) -> None:
    """Write beside the place and move there, so that the folder is whole or not there."""
    with tempfile.TemporaryDirectory(prefix=f".{place.name[:80]}.", dir=place.parent) as beside:
        made = Path(beside) / "new"
        _write(made, files)
        write_listing(made, {name: {mark_of(text)} for name, text in files.items()})
        if place.exists():
            place.rmdir()  # refuses a folder that is no longer empty
        made.rename(place)


def _replace(folder: Path, files: Mapping[str, str], before: Marks) -> None:
    """Put files in the place of those that were written before.

    The list names old and new files while they change places: whatever stops that, the next try
    knows each of them.
    """
    problems = not_ours(folder, before, files)
    if problems:
        raise FileProblems(problems)
    after = {name: {mark_of(text)} for name, text in files.items()}
    with tempfile.TemporaryDirectory(prefix=".new.", dir=folder) as beside:
        _write(Path(beside), files)
        names = {*before, *after}
        write_listing(folder, {n: {*before.get(n, ()), *after.get(n, ())} for n in names})
        for name in files:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (Path(beside) / name).replace(folder / name)
    for name in before.keys() - after.keys():
        _remove(folder, name)
    write_listing(folder, after)


def _remove(folder: Path, name: str) -> None:
    """Take away a file that is no longer wanted, and folders that are empty without it."""
    (folder / name).unlink(missing_ok=True)
    for above in Path(name).parents:
        if above == Path() or any((folder / above).iterdir()):
            return
        (folder / above).rmdir()


def _write(folder: Path, files: Mapping[str, str]) -> None:
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")


LISTING = "rowfault-manual.json"
_SCHEMA = "rowfault/manual/1"
LARGEST_LISTING, LARGEST_PAGE = 4_000_000, 4_000_000
_NAME = re.compile(r"\w[\w.-]*(/\w[\w.-]*)*", re.ASCII)
"""Where a page may stand: below the folder, and nowhere else."""
_MARK = re.compile(r"[0-9a-f]{64}")
_OTHER_NAME, _MOVE = "choose another name for the manual", "move or delete it, then try again"

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
    wrong = [name for name in names if not _NAME.fullmatch(name) or name == LISTING]
    if wrong:
        expected, where = "a page inside the folder", Place(str(folder))
        raise FileProblems([Problem(where, expected, quoted(name)) for name in wrong])


def write_listing(folder: Path, marks: Marks) -> None:
    """Write the list, whole or not at all. Raises `Unavailable`."""
    files = {name: sorted(marks[name]) for name in sorted(marks)}
    text = json.dumps({"schema": _SCHEMA, "files": files}, indent=1)
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
        raise FileProblems([Problem(Place(str(path)), expected, got, _OTHER_NAME)]) from error


def _marks(data: object) -> Marks:
    """The list's own data. Raises `ValueError` unless all of it is as it was written."""
    if not isinstance(data, dict) or set(data) != {"schema", "files"} or data["schema"] != _SCHEMA:
        raise ValueError(f"not one of the form {_SCHEMA}")
    if not isinstance(data["files"], dict):
        raise ValueError(f"{quoted(data['files'])} where its files should be")
    for name, marks in data["files"].items():
        if not _NAME.fullmatch(name) or name == LISTING:
            raise ValueError(f"{quoted(name)} is no page inside the folder")
        if not isinstance(marks, list) or not all(
            isinstance(mark, str) and _MARK.fullmatch(mark) for mark in marks
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
            yield Problem(where, "a folder of the manual", "something else", _MOVE)
            return
    mode = _mode(path)
    if mode is None:
        return
    if not stat.S_ISREG(mode):
        yield Problem(place, "a page of the manual", "something else", _MOVE)
    elif name not in before:
        yield Problem(place, "no file, or one that rowfault wrote", "one of yours", _MOVE)
    elif mark_of(read_at_most(path, LARGEST_PAGE)) not in before[name]:
        yield Problem(place, "the page as rowfault wrote it", "one that was changed since", _MOVE)


def _mode(path: Path) -> int | None:
    """What stands at a place, itself and not where it leads; None for nothing."""
    try:
        return path.lstat().st_mode
    except FileNotFoundError:
        return None
