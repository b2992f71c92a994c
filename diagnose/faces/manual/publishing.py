"""What ``rowfault manual`` does: write the pages, and touch nothing that a person made."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

import click

from diagnose.errors import FileProblems, Unavailable
from diagnose.faces.manual.catalogue import Catalogue
from diagnose.faces.manual.linking import CONTENTS, markdown_files
from diagnose.faces.manual.listing import (
    LISTING,
    Marks,
    mark_of,
    not_ours,
    read_listing,
    sound_names,
    write_listing,
)
from diagnose.faces.manual.site import html_files
from diagnose.faces.output import print_lines
from diagnose.faces.words import counted
from diagnose.knowledge.base import load_knowledge
from diagnose.reasoning.loading import load_rules


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
    print_lines([f"{counted(len(files), 'page')} written; the first is {first}"])


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
