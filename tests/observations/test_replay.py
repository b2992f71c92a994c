"""A story's state follows from its events alone, whatever was corrected on the way."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.errors import InputError
from diagnose.observations.encoding import canonical, decode, encode
from diagnose.observations.entries import (
    Answered,
    AtHand,
    Concluded,
    Correction,
    Event,
    Noted,
    Opened,
    Skipped,
    Statement,
    new_event,
)
from diagnose.observations.events import Circumstances, History, Reading, Remedied, Run, Swapped
from diagnose.observations.guard import redo, undo
from diagnose.observations.state import CaseState, replay

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
OPENING = new_event(Opened(case="20260301-small", machine="mounted-6"), "A", START)

FACTS: tuple[Statement, ...] = (
    Run.of("response", "PPPPPF", {"oil": 54.0}),
    Run.of("bleed", "PPPPPP"),
    Reading("coil-resistance", "row-6/valve", 7.4),
    Remedied("replace-coil", "row-6/valve"),
    Swapped("swap-coil", "row-6/valve", "row-5/valve"),
    History({"first-hookup": "yes"}),
    Circumstances({"oil": 54.0, "engine": "on"}),
    Circumstances({"oil": None}),
    Noted("hose chafed"),
    Skipped(act="response@5-6"),
    AtHand(without=("meter",), alone=True),
    Concluded(outcome="proven", causes=("row-6/valve:coil_open",)),
)


def story(*facts: Statement | Correction) -> list[Event]:
    later = [
        new_event(fact, "B", START + timedelta(minutes=n)) for n, fact in enumerate(facts, start=1)
    ]
    return [OPENING, *later]


@st.composite
def stories(draw: st.DrawFn) -> list[Event]:
    """Facts, corrections of anything told before, and answers about earlier runs."""
    events = [OPENING]
    for minute in range(draw(st.integers(0, 10))):
        earlier = draw(st.sampled_from(events)).id
        what: Statement | Correction = draw(
            st.one_of(
                st.sampled_from(FACTS),
                st.builds(
                    Correction,
                    event=st.just(earlier),
                    instead=st.none() | st.sampled_from(FACTS),
                ),
                st.just(Answered(run=earlier, circumstance="oil", value=20.0)),
            )
        )
        events.append(new_event(what, "B", START + timedelta(minutes=minute)))
    return events


@pytest.mark.slow
@given(stories())
@settings(max_examples=200, deadline=None)
def test_every_prefix_replays_and_adding_is_all_that_replaying_does(events: list[Event]) -> None:
    for length in range(1, len(events) + 1):
        state = replay(events[:length])
        assert [each.event for each in state.told] == events[:length]
        assert len(state.run_events) == len(state.case.runs)


@pytest.mark.slow
@given(stories(), st.integers(1, 12))
@settings(max_examples=200, deadline=None)
def test_undo_then_redo_gives_the_same_state(events: list[Event], steps: int) -> None:
    before = [replay(events)]
    for _ in range(steps):
        back = undo(events)
        if back is None:
            break
        events = [*events, new_event(back, "B", START)]
        before.append(replay(events))
    for expected in reversed(before[:-1]):
        forth = redo(events)
        assert forth is not None
        events = [*events, new_event(forth, "B", START)]
        assert replay(events) == expected
    assert redo(events) is None


@pytest.mark.slow
@given(stories())
@settings(max_examples=100, deadline=None)
def test_everything_can_be_undone_down_to_the_opening(events: list[Event]) -> None:
    while (back := undo(events)) is not None:
        events = [*events, new_event(back, "B", START)]
    assert replay(events) == replay([OPENING])


@pytest.mark.slow
@given(stories())
@settings(max_examples=100, deadline=None)
def test_events_survive_being_written_as_json(events: list[Event]) -> None:
    again = [decode(canonical(encode(event))) for event in events]
    assert again == events


def test_a_correction_takes_the_place_of_what_it_corrects() -> None:
    events = story(FACTS[0])
    events.append(new_event(Correction(event=events[1].id, instead=FACTS[1]), "B", START))
    state = replay(events)
    assert [run.pattern for run in state.case.runs] == ["PPPPPP"]
    assert state.told[1].counts == FACTS[1]
    assert state.told[1].corrected_by == events[2].id


def test_a_correction_that_is_withdrawn_no_longer_counts() -> None:
    events = story(FACTS[0])
    events.append(new_event(Correction(event=events[1].id), "B", START))
    events.append(new_event(Correction(event=events[2].id), "B", START))
    assert replay(events) == replay(events[:2])


def test_the_last_of_two_corrections_counts() -> None:
    events = story(FACTS[0])
    for instead in (FACTS[1], FACTS[8]):
        events.append(new_event(Correction(event=events[1].id, instead=instead), "B", START))
    assert (replay(events).case.runs, replay(events).notes) == ((), ("hose chafed",))


def test_the_opening_stands() -> None:
    events = [*story(), new_event(Correction(event=OPENING.id), "B", START)]
    assert replay(events) == replay([OPENING])


def test_work_between_runs_begins_an_epoch() -> None:
    state = replay(story(FACTS[0], FACTS[3], FACTS[1]))
    assert [run.epoch for run in state.case.runs] == [0, 1]


def test_an_answer_counts_for_the_run_that_it_is_about() -> None:
    events = story(FACTS[1], FACTS[0])
    events.append(new_event(Answered(run=events[1].id, circumstance="oil", value=12.0), "B", START))
    runs = replay(events).case.runs
    assert [run.circumstances.get("oil") for run in runs] == [12.0, 54.0]


def test_a_circumstance_that_is_taken_back_is_unknown_again() -> None:
    assert replay(story(FACTS[6], FACTS[7])).circumstances == {"engine": "on"}


def test_minutes_run_from_the_opening_to_what_was_told_last() -> None:
    assert replay(story(*FACTS)).elapsed_minutes == len(FACTS)


@pytest.mark.parametrize("events", [[], story(FACTS[0])[1:]])
def test_a_story_begins_with_its_opening(events: list[Event]) -> None:
    with pytest.raises(InputError, match="expected the opening of a case"):
        replay(events)


def test_a_conclusion_that_is_undone_opens_the_case_again() -> None:
    events = story(FACTS[-1])
    closed: CaseState = replay(events)
    back = undo(events)
    assert back is not None
    assert not closed.open
    assert replay([*events, new_event(back, "B", START)]).open
