"""Finished drills are kept beside the cases, each person's apart; on both databases."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select, text

from diagnose.observations.entries import Noted, Opened, new_event
from diagnose.store import schema
from diagnose.store.casebook import Casebook, open_casebook
from diagnose.store.engine import make_engine
from diagnose.store.rows import drills
from diagnose.training.record import Finished, Opportunity
from diagnose.training.score import finished
from tests.training.worlds import debriefed

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
TAKEN = (Opportunity("patterns", 1, taken=True), Opportunity("prove", 2, taken=False))
DONE = Finished("Ann", "ABCD-EFGH", "mounted-6", 1, 80, 93.5, False, TAKEN, START)
CASE = "20260301-a"
STORY = [
    new_event(Opened(case=CASE, machine="mounted-6", title="hose"), "Ann", START),
    new_event(Noted("chafed"), "Ben", START + timedelta(minutes=5)),
]


def again(minutes: float, **changes: object) -> Finished:
    """The same drill, finished later."""
    fresh = {"id": f"{minutes:032}", "at": START + timedelta(minutes=minutes)}
    return replace(DONE, **{**fresh, **changes})  # type: ignore[arg-type]


def test_a_drill_comes_back_as_it_was_kept(url: str) -> None:
    with open_casebook(url) as casebook:
        casebook.keep_drill(DONE)
    with open_casebook(url) as casebook:
        assert casebook.drills("Ann") == [DONE]


def test_the_same_drill_played_twice_is_kept_twice_in_the_order_of_time(casebook: Casebook) -> None:
    later, earlier = again(60), again(-60)
    for each in (later, DONE, earlier):
        casebook.keep_drill(each)
    assert casebook.drills("Ann") == [earlier, DONE, later]


@pytest.mark.parametrize("who", ["", "Ben", "' OR 1=1 --", "Änn 🚜"])
def test_everybody_sees_their_own_record_only(casebook: Casebook, who: str) -> None:
    casebook.keep_drill(DONE)
    assert casebook.drills(who) == []
    casebook.keep_drill(again(5, who=who))
    assert [each.who for each in casebook.drills(who)] == [who]
    assert casebook.drills("Ann") == [DONE]


@pytest.mark.slow
def test_what_was_hidden_is_not_in_the_casebook(url: str) -> None:
    done = debriefed("planner", 1, 3)
    with open_casebook(url) as casebook:
        casebook.keep_drill(finished(done, "Ann"))
    engine = make_engine(url)
    with engine.connect() as connection:
        stored = " ".join(map(str, connection.execute(select(drills)).one()))
    engine.dispose()
    [(part, mode)] = done.drill.revealed().faults
    assert "patterns" in stored
    assert part not in stored
    assert mode not in stored


def test_the_last_version_is_the_one_that_the_program_writes(url: str) -> None:
    open_casebook(url).close()
    engine = make_engine(url)
    with engine.connect() as connection:
        found = connection.execute(text("SELECT version_num FROM alembic_version")).scalars().all()
    engine.dispose()
    assert list(found) == [schema.VERSION]
