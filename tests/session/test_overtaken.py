"""Nothing counts twice and nothing is in the wrong epoch, whoever was quicker."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.formats.value_problem import Wrong
from diagnose.observations.entries import (
    AtHand,
    Concluded,
    Correction,
    Event,
    HandedOver,
    Noted,
    Opened,
    Skipped,
    Statement,
    What,
    new_event,
)
from diagnose.observations.events import Circumstances, History, Reading, Remedied, Run, Swapped
from diagnose.observations.state import CaseState, replay
from diagnose.session.answers import Answer, answered
from diagnose.session.overtaken import Doubt, keep, weighed
from diagnose.session.scratch import Scratch
from tests.session.crew import CASE, Log, Person, counted_once

OPENING = new_event(Opened(case=CASE, machine="mounted-6"), "Ann")
RUN = Run.of("response", "PPPPPF", {"oil": 54.0})
OTHER = Run.of("response", "PPPPFP", {"oil": 54.0})
COIL = Remedied("replace-coil", "row-6/valve")
READ = Reading("coil-resistance", "row-6/valve", 7.4)


def swap(part: str, other: str) -> Swapped:
    return Swapped("swap-coil", f"{part}/valve", f"{other}/valve")


SWAP = swap("row-6", "row-5")


def given_late(
    mine: What, quicker: Sequence[What], says: Sequence[str]
) -> tuple[CaseState, list[str], list[Event]]:
    """What comes of an answer of Ben's that Ann was quicker than; and what he was asked."""
    keeper, asked, left = Scratch(), list[str](), iter(says)
    keeper.begin(OPENING)
    keeper.add(CASE, *(new_event(what, "Ann") for what in quicker))

    class Ben:
        def shown(self, others: Sequence[object]) -> None:
            assert len(others) == len(quicker)

        def settled(self, doubt: Doubt) -> Answer:
            asked.append(doubt.asks)
            return doubt.read(next(left))

    keep(keeper, CASE, answered([mine], "Ben", None, None, OPENING.id), Ben())
    assert list(left) == []
    events = list(keeper.events(CASE))
    return replay(events), asked, events


@pytest.mark.slow
@given(st.integers(0, 2**64))
@settings(max_examples=300, deadline=None)
def test_nothing_counts_twice_and_nothing_is_in_the_wrong_epoch(seed: int) -> None:
    keeper, log, rng = Scratch(), Log(), random.Random(seed)
    keeper.begin(OPENING)
    crew = [Person(f"person {n}", log, keeper, rng) for n in range(4)]
    asked: list[Person] = []

    def goes_on(one: Person) -> None:
        if one not in asked:
            asked.append(one)
            one.go_on()
            asked.remove(one)

    for person in crew:
        person.meanwhile = lambda: goes_on(rng.choice(crew)) if rng.random() < 0.5 else None
    for _ in range(rng.randrange(80)):
        goes_on(rng.choice(crew))
    counted_once(keeper.events(CASE), log)


@pytest.mark.parametrize(
    ("says", "patterns"),
    [
        (["yes", "mine"], ["PPPPPF"]),
        (["yes", "theirs"], ["PPPPFP"]),
        (["yes", "?"], ["PPPP??"]),
        (["no"], ["PPPPFP", "PPPPPF"]),
    ],
)
def test_five_and_six_for_the_same_run_are_one_run(says: list[str], patterns: list[str]) -> None:
    state, asked, events = given_late(RUN, [OTHER], says)
    assert asked == ["Same run?", "Which is right?"][: len(says)]
    assert [run.pattern for run in state.case.runs] == patterns
    runs = [(event.who, event.what) for event in events if isinstance(event.what, Run)]
    assert runs == [("Ann", OTHER), ("Ben", RUN)]


def test_two_who_agree_on_one_run_are_asked_no_more() -> None:
    state, asked, events = given_late(RUN, [RUN], ["yes"])
    assert (asked, len(state.case.runs), len(events)) == (["Same run?"], 1, 3)
    assert events[-1].same_as == events[1].id


@pytest.mark.parametrize("mine", [RUN, READ, COIL], ids=lambda what: what.kind)
@pytest.mark.parametrize(("says", "epoch"), [("before", 0), ("after", 1)])
def test_what_was_done_before_a_swap_is_placed_before_it(
    mine: Statement, says: str, epoch: int
) -> None:
    state, asked, _ = given_late(mine, [SWAP], [says])
    assert asked == ["Was yours before or after the swap?"]
    seen = [*state.case.runs, *state.case.readings]
    assert [each.epoch for each in seen] == ([] if mine is COIL else [epoch])
    works = [work.id.partition("@")[0] for work in state.case.work]
    assert works.index("swap-coil") == (1 - epoch if mine is COIL else 0)


def test_work_before_a_run_that_is_on_record_comes_before_it() -> None:
    state, _, _ = given_late(COIL, [RUN], ["before"])
    assert [run.epoch for run in state.case.runs] == [1]


@pytest.mark.parametrize("mine", [COIL, SWAP, swap("row-5", "row-6"), READ])
def test_the_same_work_and_the_same_reading_count_once(mine: Statement) -> None:
    first = SWAP if isinstance(mine, Swapped) else mine
    state, _, events = given_late(mine, [first], ["yes"])
    assert len(state.case.work) + len(state.case.readings) == 1
    assert [event.who for event in events] == ["Ann", "Ann", "Ben"]


@pytest.mark.parametrize(
    ("mine", "quicker"),
    [
        (Noted("hose chafed"), SWAP),
        (Skipped(act="response@5-6"), RUN),
        (RUN, Noted("hose chafed")),
        (RUN, Run.of("bleed", "PPPPPP")),
        (RUN, Run.of("response", "......")),
        (RUN, HandedOver(to="Cleo", why="late")),
        (SWAP, Skipped(act="response@5-6")),
        (History({"first-hookup": "yes"}), SWAP),
        (HandedOver(to="Cleo", why="late"), RUN),
        (Circumstances({"oil": 54.0}), Circumstances({"oil": 54.0})),
        (Circumstances({"oil": 54.0}), SWAP),
        (Concluded(outcome="given-up"), Noted("hose chafed")),
    ],
    ids=lambda what: what.kind,
)
def test_what_cannot_conflict_is_kept_without_a_question(
    mine: Statement, quicker: Statement
) -> None:
    keeper = Scratch()
    keeper.begin(OPENING)
    keeper.add(CASE, new_event(quicker, "Ann"))
    found = weighed(answered([mine], "Ben", None, None, OPENING.id), keeper.events(CASE))
    assert isinstance(found, Answer)
    keeper.add(CASE, *found.events, seen=found.known)
    assert keeper.events(CASE)[-1].what == mine


@pytest.mark.parametrize("says", ["mine", "theirs"])
@pytest.mark.parametrize(
    ("mine", "quicker"),
    [
        (History({"mice": "yes"}), History({"mice": "no"})),
        (HandedOver(to="Cleo", why="late"), HandedOver(to="Dan", why="late")),
    ],
    ids=lambda what: what.kind,
)
def test_of_two_answers_to_one_question_that_counts_which_is_right(
    mine: Statement, quicker: Statement, says: str
) -> None:
    state, asked, _ = given_late(mine, [quicker], [says])
    assert asked == ["Which is right?"]
    right = mine if says == "mine" else quicker
    assert replay([OPENING, new_event(right, "Ann")]).case == state.case
    assert not isinstance(right, HandedOver) or state.owner == right.to


def test_a_conclusion_from_what_no_longer_is_closes_nothing() -> None:
    state, asked, events = given_late(Concluded(outcome="proven"), [RUN], [])
    assert (state.open, asked, len(events)) == (True, [], 2)


def test_circumstances_that_somebody_else_found_otherwise_are_asked_about() -> None:
    cold, warm = (Circumstances({"oil": oil}) for oil in (12.0, 54.0))
    for says, oil in (("before", 12.0), ("after", 54.0)):
        state, _, _ = given_late(warm, [cold], [says])
        assert state.circumstances == {"oil": oil}


def test_two_who_miss_different_tools_miss_both() -> None:
    state, _, _ = given_late(AtHand(without=("gauge",)), [AtHand(without=("meter",))], [])
    assert state.without == {"gauge", "meter"}


def test_two_who_take_back_the_same_thing_take_it_back_once() -> None:
    keeper = Scratch()
    keeper.begin(OPENING)
    run = new_event(RUN, "Ann")
    keeper.add(CASE, run)
    back = new_event(Correction(event=run.id, step="undo"), "Ann")
    keeper.add(CASE, back)
    found = weighed(
        answered([Correction(event=run.id, step="undo")], "Ben", None, None, run.id),
        keeper.events(CASE),
    )
    assert isinstance(found, Answer)
    keeper.add(CASE, *found.events, seen=found.known)
    keeper.add(CASE, new_event(Correction(event=back.id, step="redo"), "Ann"))
    assert len(replay(keeper.events(CASE)).case.runs) == 1


def test_a_run_that_was_told_twice_counts_when_the_first_telling_is_taken_back() -> None:
    _, _, events = given_late(RUN, [RUN, COIL], ["yes"])
    state = replay([*events, new_event(Correction(event=events[1].id), "Ann")])
    assert [(run.pattern, run.epoch) for run in state.case.runs] == [("PPPPPF", 0)]


@pytest.mark.parametrize("says", ["", "maybe", "3", "2", "yes no", "99999999999999"])
def test_an_answer_that_says_nothing_or_cannot_be_is_refused(says: str) -> None:
    events = [OPENING, new_event(SWAP, "Ann"), new_event(COIL, "Ann")]
    doubt = weighed(answered([RUN], "Ben", None, None, OPENING.id), events)
    assert isinstance(doubt, Doubt)
    assert doubt.asks == "Which of these were done before yours?"
    with pytest.raises(Wrong):
        doubt.read(says)
