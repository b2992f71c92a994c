"""Damage is named where it is; what is whole is read and exported, and nothing is changed."""

from __future__ import annotations

import shlex
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.errors import Damaged, Unavailable
from diagnose.knowledge.base import load_knowledge
from diagnose.observations.archive import read_story
from diagnose.observations.entries import Noted, new_event
from diagnose.observations.state import replay
from diagnose.store.casebook import open_casebook
from diagnose.store.engine import make_engine, writing
from diagnose.store.entry import Wanted
from diagnose.ui.cli.root import rowfault
from tests.store import older
from tests.store.damage import Sight, archive_trial, seen, sound, trial

FIRST = "20260302-mounted-6-aaaaaa"


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Sight]:
    file = sound(tmp_path_factory.mktemp("sound"))
    return file, seen(file)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(0, 120, 10))
def test_whatever_is_damaged_nothing_else_is_seen_than_what_was_stored(
    whole: tuple[Path, Sight], seed: int
) -> None:
    file, before = whole
    assert before.said == ()
    wrong = [trial(file, before, each) for each in range(seed, seed + 10)]
    assert list(filter(None, wrong)) == []


@pytest.mark.parametrize("story", [older.proven(), older.handed_over()], ids=["proven", "layout"])
def test_whatever_is_damaged_in_an_archive_is_refused_with_its_place(story: list[object]) -> None:
    knowledge = load_knowledge()
    wrong = [archive_trial(story, knowledge, seed) for seed in range(60)]  # type: ignore[arg-type]
    assert list(filter(None, wrong)) == []


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A sound casebook, which the commands use."""
    file = sound(tmp_path)
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path))
    monkeypatch.setenv("ROWFAULT_CASEBOOK", f"sqlite:///{file}")
    return file


def run(line: str) -> Result:
    return CliRunner().invoke(rowfault, shlex.split(line), prog_name="rowfault")


def edit(file: Path, statement: str) -> None:
    connection = sqlite3.connect(file)
    with connection:
        connection.execute(statement)
    connection.close()


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE events SET body = replace(body, 'PPPPPF', 'PPPPPP') WHERE number = 5", "entry 5"),
        ("UPDATE events SET who = 'Cat' WHERE number = 5", "entry 5"),
        ("UPDATE events SET at = '' WHERE number = 5", "entry 5"),
        ("UPDATE events SET sha256 = '' WHERE number = 5", "entry 5"),
        ("UPDATE events SET format = 99 WHERE number = 5", "entry 5"),
        ("DELETE FROM events WHERE number = 5", "entry 5"),
        ("UPDATE events SET number = 99 WHERE number = 5", "entry 5"),
    ],
)
def test_the_first_bad_entry_is_named_and_what_is_whole_is_exported(
    file: Path, tmp_path: Path, statement: str, words: str
) -> None:
    edit(file, statement)
    before = file.read_bytes()
    done = run(f"cases export --all --to {tmp_path / 'out'}")
    assert done.exit_code == 1
    assert f"case {FIRST}, {words}: expected" in done.stderr
    assert done.stderr.count("case 2026") == 1
    knowledge = load_knowledge()
    stories = [
        read_story(path, knowledge)
        for path in sorted((tmp_path / "out").iterdir())
        if "rest" not in path.name
    ]
    ids = [[event.id for event in story] for story in stories]
    kept = (older.proven()[:4], older.handed_over(), older.still_open())
    assert ids == [[event.id for event in story] for story in kept]
    rest = (tmp_path / "out" / f"{FIRST}.rest.yaml").read_text(encoding="utf-8")
    assert rest.count("\n- id:") in (len(older.proven()) - 5, len(older.proven()) - 4)
    assert run("cases check").exit_code == run(f"cases show {FIRST}").exit_code == 1
    assert "case 2026" in run("cases check").stderr
    assert file.read_bytes() == before


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE events SET body = replace(body, 'PPPPPF', 'PPPPPP') WHERE number = 5", "entry 5"),
        ("DELETE FROM events WHERE number = 17", "entry 17"),
        ("UPDATE cases SET minutes = 1 WHERE length = 17", "its line in the list"),
        ("UPDATE words SET said = 'rides'", "its words for searching"),
        ("DELETE FROM drills WHERE who = 'Ann'", "drills: expected all"),
    ],
)
def test_edited_rows_are_named_on_both_databases(url: str, statement: str, words: str) -> None:
    with open_casebook(url) as casebook:
        casebook.merge(older.proven())
        casebook.keep_drill(older.done("Ann"))
        assert casebook.check().problems == ()
    engine = make_engine(url)
    with writing(engine).begin() as connection:
        assert connection.exec_driver_sql(statement).rowcount == 1
    engine.dispose()
    with open_casebook(url) as casebook:
        [problem] = casebook.check().problems
    assert words in str(problem)


def test_a_damaged_case_takes_nothing_more(file: Path) -> None:
    edit(file, "UPDATE events SET who = 'Cat' WHERE number = 5")
    with open_casebook(f"sqlite:///{file}") as casebook:
        with pytest.raises(Damaged, match="entry 5"):
            casebook.add(FIRST, new_event(Noted("hose chafed"), "Ann"))
        whole = replay(older.still_open()).id
        casebook.add(whole, new_event(Noted("hose chafed"), "Ann"))
        assert len(casebook.events(whole)) == 3


def test_the_list_shows_what_is_whole_and_names_what_is_not(file: Path) -> None:
    edit(file, f"UPDATE cases SET title = 'ours' WHERE \"case\" = '{FIRST}'")
    done = run("cases list")
    assert (done.exit_code, done.stdout.count("2026030")) == (1, 2)
    assert f"case {FIRST}, its line in the list of cases: expected" in done.stderr
    assert run(f"cases show {FIRST}").exit_code == 0


def test_what_only_seems_not_to_be_wanted_is_not_left_out_in_silence(file: Path) -> None:
    edit(file, f"UPDATE cases SET machine = 'ours' WHERE \"case\" = '{FIRST}'")
    with (
        open_casebook(f"sqlite:///{file}") as casebook,
        pytest.raises(Damaged, match=f"case {FIRST}"),
    ):
        casebook.entries(Wanted(machine="mounted-6"))


def test_a_sound_casebook_is_said_to_be_sound(file: Path) -> None:
    done = run("cases check")
    assert (done.exit_code, done.stderr) == (0, "")
    assert done.stdout.startswith(f"3 cases, {sum(map(len, stories()))} entries: all")


def stories() -> list[list[object]]:
    return [list(older.proven()), list(older.handed_over()), list(older.still_open())]


def test_a_file_cut_to_nothing_is_no_new_casebook(file: Path) -> None:
    file.write_bytes(b"")
    with pytest.raises(Unavailable, match="expected a casebook, got an empty file"):
        open_casebook(f"sqlite:///{file}")
    assert file.read_bytes() == b""
