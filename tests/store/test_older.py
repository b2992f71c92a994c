"""A casebook of the program before this one (commit 97aa4ee) is taken up as it stands."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import Connection, select, text

from diagnose.errors import FileProblems
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.observations.archive import read_story
from diagnose.observations.entries import HandedOver, Noted, new_event
from diagnose.observations.state import replay
from diagnose.store import schema
from diagnose.store.casebook import open_casebook
from diagnose.store.engine import make_engine
from diagnose.store.entry import Wanted
from diagnose.store.rows import events
from tests.store import older
from tests.store.conftest import Server

OLDER = Path(__file__).parent / "older"
OPENER = "Ben Ünal"
CASES = ("20260302-mounted-6-aaaaaa", "20260303-ours-bbbbbb", "20260304-mounted-12-cccccc")


@pytest.fixture(params=["sqlite", "postgresql"])
def old(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of a casebook that commit 97aa4ee wrote (see `tests.store.older`)."""
    if request.param == "sqlite":
        shutil.copy(OLDER / "casebook.sqlite", tmp_path)
        return f"sqlite:///{tmp_path / 'casebook.sqlite'}"
    server: Server = request.getfixturevalue("server")
    url = server.new_database()
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute((OLDER / "casebook.sql").read_text(encoding="utf-8").encode())
    return url


@contextmanager
def looked_at(url: str) -> Iterator[Connection]:
    engine = make_engine(url)
    with engine.connect() as connection:
        yield connection
    engine.dispose()


def bodies(url: str) -> list[tuple[str, int, str]]:
    with looked_at(url) as connection:
        columns = [text(f'"{name}"') for name in ("case", "number", "body")]
        query = select(*columns).select_from(text("events")).order_by(*columns[:2])
        return [(case, number, body) for case, number, body in connection.execute(query)]


def test_what_an_older_program_stored_is_chained_up_and_not_rewritten(old: str) -> None:
    before = bodies(old)
    with open_casebook(old) as casebook:
        assert casebook.check().problems == ()
    assert bodies(old) == before
    with looked_at(old) as connection:
        rows = connection.execute(select(events).order_by(events.c.case, events.c.number)).all()
    hashed = {"": ""}
    for row in rows:
        previous = hashed.get(row.case, "")
        text_ = f"{previous}\n1\n{row.body}"
        assert (row.format, row.previous) == (1, previous)
        assert row.sha256 == hashlib.sha256(text_.encode()).hexdigest()
        hashed[row.case] = row.sha256


def test_older_cases_read_list_and_go_on(old: str) -> None:
    with open_casebook(old) as casebook:
        for story in (older.proven(), older.handed_over(), older.still_open()):
            id = replay(story).id
            assert [event.id for event in casebook.events(id)] == [event.id for event in story]
        assert [entry.case for entry in casebook.entries()] == list(reversed(CASES))
        assert [done.code for done in casebook.drills("Ann")] == ["ABCD-EFGH"]
        casebook.add(CASES[2], new_event(Noted("hose chafed"), "Ann"))
        casebook.keep_drill(older.done("Ben"))
        assert casebook.check().problems == ()
    with looked_at(old) as connection:
        assert schema.version_of(connection) == schema.VERSION == "0003"
        query = select(events.c.format).where(events.c.case == CASES[2]).order_by(events.c.number)
        assert connection.execute(query).scalars().all() == [1, 1, 3]


def test_an_older_case_that_was_handed_over_is_open_and_nobody_is_named(old: str) -> None:
    handed = replay(older.handed_over())
    assert handed.open
    with open_casebook(old) as casebook:
        stands = {entry.case: (entry.outcome, entry.owner) for entry in casebook.entries()}
        assert stands[handed.id] == ("open", "")
        assert {*stands.values()} == {("open", ""), ("open", OPENER), ("proven", OPENER)}
        assert handed.id in [entry.case for entry in casebook.entries(Wanted(open=True))]
        casebook.add(handed.id, new_event(HandedOver(to="Cleo", why="has the parts"), "Ann"))
        assert casebook.events(handed.id)[:-1] == tuple(older.handed_over())
        assert {entry.case: entry.owner for entry in casebook.entries()}[handed.id] == "Cleo"


def test_an_older_casebook_that_cannot_be_written_is_read_all_the_same(tmp_path: Path) -> None:
    file = tmp_path / "casebook.sqlite"
    shutil.copy(OLDER / "casebook.sqlite", file)
    before = file.read_bytes()
    with open_casebook(f"sqlite:///file:{file}?mode=ro&uri=true") as casebook:
        assert len(casebook.events(CASES[0])) == len(older.proven())
        assert casebook.check().problems == ()
    assert file.read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["casebook.sqlite"]


def test_a_mistyped_field_in_an_older_body_is_named_and_what_is_before_it_is_whole(
    tmp_path: Path,
) -> None:
    file = tmp_path / "casebook.sqlite"
    shutil.copy(OLDER / "casebook.sqlite", file)
    with sqlite3.connect(file) as connection:
        where = f"\"case\" = '{CASES[0]}' AND number = 5"
        [body] = connection.execute(f"SELECT body FROM events WHERE {where}").fetchone()
        data = json.loads(body)
        data["what"]["pattern"] = 7
        said = "UPDATE events SET body = ? WHERE " + where
        connection.execute(said, [json.dumps(data)])
    connection.close()
    with open_casebook(f"sqlite:///{file}") as casebook:
        [problem] = casebook.check().problems
    assert f"case {CASES[0]}, entry 5: expected an event, got what.run.pattern" in str(problem)


@pytest.mark.parametrize("case", CASES)
def test_archives_without_hashes_still_import(case: str) -> None:
    story = read_story(OLDER / f"{case}.yaml", load_knowledge())
    written = {replay(each).id: each for each in (older.proven(), older.handed_over())}
    written |= {CASES[2]: older.still_open()}
    assert [(e.id, e.at, e.who) for e in story] == [(e.id, e.at, e.who) for e in written[case]]


FORM_2 = "20260305-mounted-6-dddddd"
"""A case as commit 663a90e stored it, in form 2: with places beside others, and handed over."""


def test_a_casebook_of_form_2_reads_as_it_was_told_and_goes_on_in_todays_form(
    tmp_path: Path,
) -> None:
    shutil.copy(OLDER / "form-2.sqlite", tmp_path)
    url = f"sqlite:///{tmp_path / 'form-2.sqlite'}"
    before = bodies(url)
    with open_casebook(url) as casebook:
        assert casebook.check().problems == ()
        state = replay(casebook.events(FORM_2))
        assert [each.event.what.kind for each in state.done][1:4] == ["run", "run", "remedy"]
        assert [(run.pattern, run.epoch) for run in state.case.runs] == [
            ("PPPPPF", 0),
            ("PPPPP?", 0),
        ]
        assert [work.kind for work in state.case.work] == ["remedy", "swap"]
        assert (state.open, state.owner) == (True, "Ben Ünal")
        casebook.add(FORM_2, told_today := new_event(Noted("hose chafed"), "Ann"))
        assert casebook.events(FORM_2)[-1] == told_today
    assert bodies(url)[:-1] == before
    with looked_at(url) as connection:
        formats = connection.execute(select(events.c.format).order_by(events.c.number))
        assert formats.scalars().all() == [2] * len(before) + [3]


def test_an_archive_of_form_2_holds_the_same_events_and_is_held_against_its_hashes() -> None:
    text_ = (OLDER / f"{FORM_2}.yaml").read_text(encoding="utf-8")
    events_ = read_story(OLDER / f"{FORM_2}.yaml", load_knowledge())
    assert replay(events_).id == FORM_2
    with pytest.raises(FileProblems, match="entry 2 as it was written"):
        read_story(read_text(text_.replace("PPPPPF", "PPPPFP"), "a.yaml"), load_knowledge())
