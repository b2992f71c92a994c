"""What ``rowfault manual`` does: write the folder whole or not at all."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

import click

from diagnose.errors import Unavailable
from diagnose.faces.manual.catalogue import Catalogue
from diagnose.faces.manual.linking import CONTENTS, markdown_files
from diagnose.faces.manual.site import html_files
from diagnose.faces.output import print_lines
from diagnose.faces.words import counted
from diagnose.knowledge.base import load_knowledge
from diagnose.reasoning.loading import load_rules


def published(program: click.Group, folder: Path, *, markdown: bool, force: bool) -> None:
    """Write the manual and say where it begins.

    Raises `Unavailable` where nothing can be written, or something is there already.
    """
    _may_be_written(folder, force)
    catalogue = Catalogue(load_knowledge(), load_rules(), program)
    files = markdown_files(catalogue) if markdown else html_files(catalogue)
    write_folder(folder, files)
    first = folder / f"{CONTENTS}.{'md' if markdown else 'html'}"
    print_lines([f"{counted(len(files), 'page')} written; the first is {first}"])


def write_folder(folder: Path, files: Mapping[str, str]) -> None:
    """Write files beside the folder's place and move them there together.

    What the folder held before stands until then. Raises `Unavailable` when the system refuses.

    >>> with tempfile.TemporaryDirectory() as above:
    ...     for name in ("words/old.md", "words/new.md"):
    ...         write_folder(Path(above) / "manual", {name: "# fold"})
    ...     [path.name for path in Path(above).rglob("*.md")]
    ['new.md']
    """
    place = folder.resolve()
    try:
        with tempfile.TemporaryDirectory(prefix=f".{place.name[:80]}.", dir=place.parent) as beside:
            made, before = Path(beside) / "new", Path(beside) / "before"
            for name, text in files.items():
                path = made / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(text, encoding="utf-8", newline="\n")
            if place.exists():
                place.rename(before)
            made.rename(place)
            shutil.rmtree(before, ignore_errors=True)
    except OSError as error:
        raise Unavailable(
            f"{folder}: expected a place where a folder can be written, got "
            f"{error.strerror or error}; nothing was left behind"
        ) from error


def _may_be_written(folder: Path, force: bool) -> None:
    """Whether the folder is free, empty, or holds a manual that may be replaced."""
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return
    manual = folder.is_dir() and any((folder / f"{CONTENTS}.{e}").exists() for e in ("html", "md"))
    if not manual:
        raise Unavailable(
            f"{folder}: expected a name that is not taken, or a manual written before, got "
            "something else; choose another name"
        )
    if not force:
        raise Unavailable(
            f"{folder}: expected a name that is not taken, got a manual that is there already; "
            "choose another name, or say --force to replace it"
        )
