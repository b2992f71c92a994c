"""What is remembered of data files never outlives them, and never gets in the way."""

from __future__ import annotations

import json
import os
import shutil
import stat
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.errors import FileProblems
from diagnose.formats import cache as remembered
from diagnose.formats.cache import Memory
from diagnose.knowledge import base, reading
from diagnose.knowledge.base import Knowledge
from diagnose.paths import Folders, shipped
from diagnose.rules import loading
from diagnose.tolerances import MOST_CACHES


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data file, with a cache of the test's own."""
    monkeypatch.delenv(remembered.OFF, raising=False)
    monkeypatch.setattr(remembered, "_place", lambda name: tmp_path / "cache" / f"{name}.json")
    file = tmp_path / "oil-cold.yaml"
    file.write_text("id: oil-cold")
    return file


def cache(file: Path) -> Path:
    """Where the memory of some rules is kept."""
    return file.parent / "cache" / "rules.json"


@pytest.fixture
def mine(file: Path) -> Folders:
    """A folder of the user's own with one check, beside a cache of the test's own."""
    folders = Folders(file.parent / "mine")
    folders.checks.mkdir(parents=True)
    text = (shipped().checks / "bleed.yaml").read_text()
    (folders.checks / "again.yaml").write_text(text.replace("id: bleed", "id: again"))
    return folders


@pytest.fixture
def read(mine: Folders, monkeypatch: pytest.MonkeyPatch) -> Callable[[], tuple[Knowledge, bool]]:
    """Load what is known as a new process does, and tell whether the files were read for it."""
    times: list[int] = []
    slow = reading.read_knowledge
    monkeypatch.setattr(reading, "read_knowledge", lambda files: (times.append(1), slow(files))[1])

    def load() -> tuple[Knowledge, bool]:
        times.clear()
        return base._load.__wrapped__(mine), bool(times)

    return load


def test_what_was_remembered_is_recalled(file: Path) -> None:
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    assert Memory("rules", [file]).recall() == [{"id": "oil-cold"}]


def test_nothing_is_recalled_once_a_file_has_changed(file: Path) -> None:
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    other = file.with_name("other.yaml")
    other.write_text("id: other")
    assert Memory("rules", [file, other]).recall() is None
    file.write_text("id: oil-warm")
    assert Memory("rules", [file]).recall() is None
    file.unlink()
    assert Memory("rules", [file]).recall() is None


def test_a_file_with_the_same_content_is_the_same_whenever_it_was_written(file: Path) -> None:
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    os.utime(file, (1, 1))
    assert Memory("rules", [file]).recall() == [{"id": "oil-cold"}]


def test_files_that_changed_names_or_content_between_them_are_others(file: Path) -> None:
    other = file.with_name("other.yaml")
    other.write_text("id: other")
    Memory("rules", [file, other]).remember([{"id": "oil-cold"}])
    assert Memory("rules", [other, file]).recall() is None
    file.write_text("id: other")
    other.write_text("id: oil-cold")
    assert Memory("rules", [file, other]).recall() is None


def test_another_file_with_the_same_size_and_time_is_another(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    status = file.stat()
    monkeypatch.setattr(os, "fstat", lambda _: status)
    monkeypatch.setattr(Path, "stat", lambda *_, **__: status)
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    file.write_text("id: oil-warm")
    assert Memory("rules", [file]).recall() is None


def test_a_file_that_changes_while_it_is_read_is_read_again(file: Path) -> None:
    memory, text = Memory("rules", [file]), file.read_text()
    file.write_text("id: oil-much-too-cold")
    memory.remember([{"id": "oil-much-too-cold"}])
    assert Memory("rules", [file]).recall() is None
    file.write_text(text)
    memory.remember([{"id": "oil-much-too-cold"}])
    assert Memory("rules", [file]).recall() is None


@pytest.mark.parametrize("text", ["", "{", "[]", '{"of": 1}', "\x00", '{"data": []}'])
def test_a_broken_cache_is_as_good_as_none(file: Path, text: str) -> None:
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    cache(file).write_text(text)
    assert Memory("rules", [file]).recall() is None
    cache(file).write_bytes(remembered._head(Memory("rules", [file])._seen.key, b"") + b"\n")
    assert Memory("rules", [file]).recall() is None


@given(place=st.integers(0, 400), bit=st.integers(0, 7), keep=st.booleans())
def test_a_damaged_cache_is_never_believed(place: int, bit: int, keep: bool) -> None:
    with pytest.MonkeyPatch.context() as patch, TemporaryDirectory() as folder:
        file = Path(folder, "oil-cold.yaml")
        file.write_text("id: oil-cold")
        patch.delenv(remembered.OFF, raising=False)
        patch.setattr(remembered, "_place", lambda _: Path(folder, "cache", "rules.json"))
        Memory("rules", [file]).remember([{"id": "oil-cold", "prior": 0.25, "says": "a" * 150}])
        whole = cache(file).read_bytes()
        place %= len(whole)
        flipped = bytes([whole[place] ^ 1 << bit]) + whole[place + 1 :] if keep else b""
        cache(file).write_bytes(whole[:place] + flipped)
        assert Memory("rules", [file]).recall() is None


def test_what_nests_too_deep_is_as_good_as_none(file: Path) -> None:
    key, body = Memory("rules", [file])._seen.key, b"[" * 200_000
    cache(file).parent.mkdir()
    cache(file).write_bytes(remembered._head(key, body) + b"\n" + body)
    assert Memory("rules", [file]).recall() is None


def test_a_cache_is_its_owners_alone(file: Path) -> None:
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    modes = [stat.S_IMODE(path.stat().st_mode) for path in (cache(file).parent, cache(file))]
    assert modes == [0o700, 0o600]


@pytest.mark.parametrize("spoil", ["group", "world", "link", "owner", "pipe", "folder"])
def test_a_cache_that_somebody_else_may_have_written_is_not_believed(
    file: Path, spoil: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    place = cache(file)
    if spoil in ("group", "world"):
        place.chmod(0o620 if spoil == "group" else 0o602)
    elif spoil == "owner":
        monkeypatch.setattr(os, "geteuid", lambda: place.stat().st_uid + 1)
    else:
        kept = place.rename(place.with_name("kept"))
        make = {"link": lambda: place.symlink_to(kept), "folder": place.mkdir}
        make.get(spoil, lambda: os.mkfifo(place))()
    assert Memory("rules", [file]).recall() is None


def test_old_caches_go_and_other_files_stay(file: Path) -> None:
    folder = cache(file).parent
    folder.mkdir()
    for number in range(MOST_CACHES + 5):
        old = folder / f"rules-{number:08x}.json"
        old.write_text("")
        os.utime(old, (number, number))
    (folder / "mine.json").write_text("")
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    left = sorted(path.name for path in folder.iterdir())
    assert left[:2] == ["mine.json", f"rules-{5:08x}.json"]
    assert len(left) == MOST_CACHES + 2


def test_what_is_too_large_is_not_kept(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(remembered, "LARGEST_CACHE", 100)
    Memory("rules", [file]).remember([{"says": "x" * 100}])
    assert not cache(file).exists()


def test_a_pipe_among_the_files_stops_nobody(file: Path) -> None:
    pipe = file.with_name("pipe.yaml")
    os.mkfifo(pipe)
    Memory("rules", [file, pipe]).remember([{"id": "oil-cold"}])
    assert Memory("rules", [file, pipe]).recall() is None


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_a_cache_folder_that_is_for_reading_only_is_no_matter(file: Path) -> None:
    cache(file).parent.mkdir(mode=0o500)
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    assert Memory("rules", [file]).recall() is None


def test_a_cache_that_cannot_be_written_is_no_matter(file: Path) -> None:
    (file.parent / "cache").write_text("a file where the folder should be")
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    assert Memory("rules", [file]).recall() is None


def test_nothing_is_remembered_where_nobody_wants_it(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(remembered.OFF, "1")
    Memory("rules", [file]).remember([{"id": "oil-cold"}])
    assert not (file.parent / "cache").exists()


def test_programs_in_two_places_remember_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    here = remembered._place("rules")
    monkeypatch.setattr(remembered, "__file__", "/elsewhere/diagnose/formats/cache.py")
    assert remembered._place("rules") != here


def test_who_remembers_at_once_leaves_one_whole_memory(file: Path) -> None:
    def keep(number: int) -> object:
        Memory("rules", [file]).remember([{"id": f"rule-{number}"}] * 500)
        return Memory("rules", [file]).recall()

    with ThreadPoolExecutor(8) as pool:
        for found in pool.map(keep, range(64)):
            assert len({one["id"] for one in found}) == 1
    assert [path.name for path in (file.parent / "cache").iterdir()] == ["rules.json"]


def test_rules_that_are_recalled_are_those_that_were_read(file: Path) -> None:
    none = Folders(file.parent / "none")
    first = loading._load.__wrapped__(none)
    assert (file.parent / "cache" / "rules.json").is_file()
    assert loading._load.__wrapped__(none).rules == first.rules


def test_knowledge_that_is_recalled_is_what_was_read(
    read: Callable[[], tuple[Knowledge, bool]],
) -> None:
    first, was_read = read()
    assert was_read
    again, was_read = read()
    assert not was_read
    assert again == first
    assert "again" in again.checks


def test_a_file_that_changed_is_seen_at_once(
    mine: Folders, read: Callable[[], tuple[Knowledge, bool]]
) -> None:
    read()
    path = mine.checks / "again.yaml"
    path.write_text(path.read_text().replace("id: again", "id: again\nadded: 1"))
    with pytest.raises(FileProblems, match="added"):
        read()
    path.unlink()
    known, was_read = read()
    assert was_read
    assert "again" not in known.checks


def test_what_is_wrong_is_never_remembered(
    mine: Folders, read: Callable[[], tuple[Knowledge, bool]]
) -> None:
    (mine.checks / "again.yaml").write_text("id: again")
    for _ in range(2):
        with pytest.raises(FileProblems):
            read()


@pytest.mark.parametrize("layout", ["graphs/machines/mine.yaml", "graphs/rates.yaml"])
def test_layouts_and_rates_of_ones_own_are_seen_at_once(
    mine: Folders, read: Callable[[], tuple[Knowledge, bool]], layout: str
) -> None:
    read()
    (mine.root / layout).parent.mkdir(parents=True, exist_ok=True)
    shutil.copy(shipped().root / "graphs" / "rates.yaml", mine.root / layout)
    known, was_read = read()
    assert was_read
    assert ("mine" in known.layouts) is ("machines" in layout)


@pytest.mark.parametrize("data", [[], [{}], [[]], [{"parts": [{"id": "valve"}]}], [None]])
def test_data_that_no_longer_fit_are_read_again(
    file: Path, read: Callable[[], tuple[Knowledge, bool]], data: list
) -> None:
    first, _ = read()
    place, body = file.parent / "cache" / "knowledge.json", json.dumps(data).encode()
    key = place.read_text().split()[0]
    place.write_bytes(remembered._head(key, body) + b"\n" + body)
    again, was_read = read()
    assert was_read
    assert again == first
