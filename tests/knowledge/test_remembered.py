"""What is remembered of data files never outlives them, and never gets in the way."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from diagnose.knowledge import remembered
from diagnose.knowledge.remembered import recall, remember


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data file, with a cache of the test's own."""
    monkeypatch.delenv(remembered.OFF, raising=False)
    monkeypatch.setattr(remembered, "_place", lambda name: tmp_path / "cache" / f"{name}.json")
    file = tmp_path / "oil-cold.yaml"
    file.write_text("id: oil-cold")
    return file


def test_what_was_remembered_is_recalled(file: Path) -> None:
    remember("rules", [file], [{"id": "oil-cold"}])
    assert recall("rules", [file]) == [{"id": "oil-cold"}]


def test_nothing_is_recalled_once_a_file_has_changed(file: Path) -> None:
    remember("rules", [file], [{"id": "oil-cold"}])
    other = file.with_name("other.yaml")
    other.write_text("id: other")
    assert recall("rules", [file, other]) is None
    os.utime(file, (1, 1))
    assert recall("rules", [file]) is None
    file.unlink()
    assert recall("rules", [file]) is None


@pytest.mark.parametrize("text", ["", "{", "[]", '{"of": 1}', "\x00", '{"data": []}'])
def test_a_broken_cache_is_as_good_as_none(file: Path, text: str) -> None:
    remember("rules", [file], [{"id": "oil-cold"}])
    (file.parent / "cache" / "rules.json").write_text(text)
    assert recall("rules", [file]) is None


def test_a_cache_that_cannot_be_written_is_no_matter(file: Path) -> None:
    (file.parent / "cache").write_text("a file where the folder should be")
    remember("rules", [file], [{"id": "oil-cold"}])
    assert recall("rules", [file]) is None


def test_nothing_is_remembered_where_nobody_wants_it(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(remembered.OFF, "1")
    remember("rules", [file], [{"id": "oil-cold"}])
    assert not (file.parent / "cache").exists()


def test_rules_that_are_recalled_are_those_that_were_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from diagnose.knowledge.places import Folders
    from diagnose.reasoning import loading

    monkeypatch.delenv(remembered.OFF, raising=False)
    monkeypatch.setattr(remembered, "_place", lambda name: tmp_path / f"{name}.json")
    read = loading._load.__wrapped__(Folders(tmp_path / "none"))
    assert (tmp_path / "rules.json").is_file()
    assert loading._load.__wrapped__(Folders(tmp_path / "none")).rules == read.rules
