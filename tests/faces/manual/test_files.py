"""The manual as files: every link leads somewhere, and the folder is whole or not there."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from posixpath import normpath

import pytest
from click.testing import CliRunner

from diagnose.errors import Unavailable
from diagnose.faces.commands.root import rowfault
from diagnose.faces.manual.linking import Linker, markdown_files, place
from diagnose.faces.manual.publishing import write_folder
from diagnose.faces.manual.site import html_files
from tests.faces.manual.catalogued import CATALOGUE

FORMS = {
    "md": (markdown_files(CATALOGUE), re.compile(r"\]\(([^)#]+)\)")),
    "html": (html_files(CATALOGUE), re.compile(r'href="([^"#]+)')),
}


def beyond(name: str, links: list[str], files: Mapping[str, str]) -> list[str]:
    """The links of a file that lead to none."""
    folder = PurePosixPath(name).parent
    return [link for link in links if normpath(folder / link) not in files]


@pytest.mark.parametrize("form", FORMS)
def test_every_link_leads_to_a_page(form: str) -> None:
    files, link = FORMS[form]
    found = {name: link.findall(text) for name, text in files.items()}
    lost = {name: beyond(name, links, files) for name, links in found.items()}
    assert {name: links for name, links in lost.items() if links} == {}


@pytest.mark.parametrize("form", FORMS)
def test_every_page_is_reached_from_the_first(form: str) -> None:
    files, link = FORMS[form]
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


def test_a_manual_is_replaced_only_when_asked(tmp_path: Path) -> None:
    folder = tmp_path / "pages"
    assert manual(str(folder))[0] == 0
    assert "--force" in manual(str(folder))[1]
    (folder / "old.html").write_text("")
    assert manual(str(folder), "--force", "--markdown")[0] == 0
    assert sorted(path.name for path in folder.glob("*.*")) == ["index.md"]
    assert list(tmp_path.iterdir()) == [folder]


def test_what_is_no_manual_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    status, says = manual(str(tmp_path), "--force")
    assert (status, "something else" in says) == (1, True)
    assert (tmp_path / "mine.txt").read_text() == "mine"


def test_a_folder_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(Unavailable, match="nothing was left behind"):
        write_folder(tmp_path / "new", {"a.md": "a", "a.md/b.md": "b"})
    assert list(tmp_path.iterdir()) == []
