"""The manual as files: every link leads somewhere, and the folder is whole or not there."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path, PurePosixPath
from posixpath import normpath

import pytest
from click.testing import CliRunner

from diagnose.errors import FileProblems, Unavailable
from diagnose.ui.cli.manual import LISTING, write_folder
from diagnose.ui.cli.root import rowfault
from diagnose.ui.manual.site import Linker, html_files, markdown_files, place
from tests.ui.manual.catalogued import CATALOGUE

FORMS = {
    "md": (cache(markdown_files), re.compile(r"\]\(([^)#]+)\)")),
    "html": (cache(html_files), re.compile(r'href="([^"#]+)')),
}
"""What writes the pages of the manual in each form, and how a link looks in it."""


def beyond(name: str, links: list[str], files: Mapping[str, str]) -> list[str]:
    """The links of a file that lead to none."""
    folder = PurePosixPath(name).parent
    return [link for link in links if normpath(folder / link) not in files]


@pytest.mark.parametrize("form", FORMS)
def test_every_link_leads_to_a_page(form: str) -> None:
    written, link = FORMS[form]
    files = written(CATALOGUE)
    found = {name: link.findall(text) for name, text in files.items()}
    lost = {name: beyond(name, links, files) for name, links in found.items()}
    assert {name: links for name, links in lost.items() if links} == {}


@pytest.mark.parametrize("form", FORMS)
def test_every_page_is_reached_from_the_first(form: str) -> None:
    written, link = FORMS[form]
    files = written(CATALOGUE)
    reached = set(link.findall(files[f"index.{form}"]))
    assert reached == set(files) - {f"index.{form}"}
    assert len(files) == len(CATALOGUE.pages) + 1


def test_a_word_is_linked_where_it_first_occurs_and_not_in_code() -> None:
    page = CATALOGUE.by_key["mode", "valve:coil_open"]
    text = Linker(CATALOGUE).linked(page)
    assert text.count("(../words/spool.md)") == 1
    assert "`[" not in text


def test_places_differ_on_disks_that_ignore_the_size_of_letters() -> None:
    places = [place(page.key).casefold() for page in CATALOGUE.pages]
    assert len(set(places)) == len(places)


def manual(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(rowfault, ["manual", *words])
    return result.exit_code, result.output


def contents(folder: Path) -> dict[str, str | None]:
    """Everything below a folder: text of files, None for the rest."""
    found = sorted(folder.rglob("*"))
    return {
        str(path.relative_to(folder)): path.read_text()
        if path.is_file() and not path.is_symlink()
        else None
        for path in found
    }


@pytest.mark.slow
def test_a_manual_is_replaced_only_when_asked(tmp_path: Path) -> None:
    folder = tmp_path / "pages"
    assert manual(str(folder))[0] == 0
    before = contents(folder)
    assert "--force" in manual(str(folder))[1]
    assert contents(folder) == before
    assert manual(str(folder), "--force", "--markdown")[0] == 0
    assert sorted(path.name for path in folder.glob("*.*")) == ["index.md", LISTING]
    assert list(tmp_path.iterdir()) == [folder]


PAGES = {"index.html": "contents", "words/fold.html": "a hinge", "words/coil.html": "a winding"}
NEXT = {"index.html": "new contents", "words/fold.html": "a hinge"}


@pytest.fixture
def pages(tmp_path: Path) -> Path:
    """A manual that the program wrote, beside a file of a person."""
    (tmp_path / "mine.txt").write_text("mine")
    write_folder(tmp_path / "pages", PAGES)
    return tmp_path / "pages"


def test_what_a_person_put_into_a_manual_stays(pages: Path) -> None:
    (pages / "mine.html").write_text("mine")
    (pages / "words" / "mine").mkdir()
    write_folder(pages, NEXT, force=True)
    kept = {name: text for name, text in contents(pages).items() if name != LISTING}
    own = {"mine.html": "mine", "words": None, "words/mine": None}
    assert kept == {**NEXT, **own}


@pytest.mark.parametrize("name", ["index.html", "words/coil.html"])
def test_a_page_that_somebody_changed_is_neither_replaced_nor_removed(
    pages: Path, name: str
) -> None:
    (pages / name).write_text("noted by hand")
    before = contents(pages)
    with pytest.raises(FileProblems, match=f"{name}: .* changed since; move or delete it"):
        write_folder(pages, NEXT, force=True)
    assert contents(pages) == before
    (pages / name).unlink()
    write_folder(pages, NEXT, force=True)
    assert (pages / "index.html").read_text() == "new contents"


def test_a_page_never_takes_the_place_of_a_persons_file(pages: Path) -> None:
    (pages / "rules.html").write_text("mine")
    with pytest.raises(FileProblems, match=r"rules.html: .* one of yours"):
        write_folder(pages, {**NEXT, "rules.html": "the rules"}, force=True)
    assert (pages / "rules.html").read_text() == "mine"


@pytest.mark.parametrize("index", ["index.html", "index.md", "mine.txt"])
def test_a_folder_without_a_list_of_what_was_written_is_refused(tmp_path: Path, index: str) -> None:
    (tmp_path / index).write_text("mine")
    status, says = manual(str(tmp_path), "--force")
    assert (status, LISTING in says, contents(tmp_path)) == (1, True, {index: "mine"})


MARK = "0" * 64
LISTS = [
    "",
    "no JSON",
    "[" * 100_000,
    "[]",
    '{"schema": "rowfault/manual/1"}',
    '{"schema": "rowfault/manual/2", "files": {}}',
    '{"schema": "rowfault/manual/1", "files": []}',
    *(
        json.dumps({"schema": "rowfault/manual/1", "files": {name: marks}})
        for name, marks in [
            ("../mine.txt", [MARK]),
            ("words/../../mine.txt", [MARK]),
            ("/etc/passwd", [MARK]),
            ("words//fold.html", [MARK]),
            ("words/", [MARK]),
            (".", [MARK]),
            ("", [MARK]),
            ("words\\fold.html", [MARK]),
            ("in\ndex.html", [MARK]),
            ("index.html", MARK),
            ("index.html", [6]),
            ("index.html", ["0"]),
            ("index.html", None),
            (LISTING, [MARK]),
        ]
    ),
]


@pytest.mark.parametrize("text", LISTS)
def test_a_damaged_list_changes_nothing(pages: Path, text: str) -> None:
    (pages / LISTING).write_text(text)
    before = contents(pages.parent)
    with pytest.raises(FileProblems, match=LISTING):
        write_folder(pages, NEXT, force=True)
    assert contents(pages.parent) == before


@pytest.mark.parametrize("name", ["index.html", "words", "words/coil.html", LISTING])
def test_a_link_is_never_followed(pages: Path, name: str) -> None:
    away = pages.parent / "away"
    (pages / name).rename(away)
    (pages / name).symlink_to(away, target_is_directory=name == "words")
    before = contents(pages.parent)
    with pytest.raises(FileProblems):
        write_folder(pages, NEXT, force=True)
    assert contents(pages.parent) == before


@pytest.mark.parametrize("stopped_at", range(4))
def test_a_manual_that_was_half_replaced_is_replaced_whole(
    pages: Path, monkeypatch: pytest.MonkeyPatch, stopped_at: int
) -> None:
    calls: list[Path] = []
    replace = Path.replace

    def stopping(path: Path, target: Path) -> Path:
        calls.append(path)
        if len(calls) > stopped_at:
            raise OSError(5, "Input/output error")
        return replace(path, target)

    monkeypatch.setattr(Path, "replace", stopping)
    with pytest.raises(Unavailable):
        write_folder(pages, NEXT, force=True)
    monkeypatch.undo()
    write_folder(pages, NEXT, force=True)
    kept = {name: text for name, text in contents(pages).items() if name != LISTING}
    assert kept == {**NEXT, "words": None}


@pytest.mark.parametrize("name", ["../mine.txt", "/tmp/mine.txt", LISTING])
def test_a_page_stands_inside_the_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(FileProblems, match="inside the folder"):
        write_folder(tmp_path / "new", {name: "x"})
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(Unavailable, match="nothing was lost"):
        write_folder(tmp_path / "new", {"a.md": "a", "a.md/b.md": "b"})
    assert list(tmp_path.iterdir()) == []
