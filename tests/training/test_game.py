"""A drill is a pure function of its moves, and luck belongs to each act by itself."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest

from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.parts import Tool
from diagnose.machine.graph import load_machine
from diagnose.observations.case import Case
from diagnose.observations.entries import Answered, Skipped
from diagnose.observations.events import Reading, Run
from diagnose.observations.result import Result
from diagnose.rules.conclude import conclude_case
from diagnose.training.decision_point import READ_WITH
from diagnose.training.game import Sitting, play
from diagnose.training.level import load_drills
from diagnose.training.moves import Move, MoveReader
from diagnose.training.policies import decision_point_of, planner, simulate
from tests.training.worlds import KNOWLEDGE, LEVELS, drill

MACHINE = load_machine("mounted-6", KNOWLEDGE)
READ = MoveReader(MACHINE, KNOWLEDGE, 2)


def seen(sitting: Sitting) -> dict[str, list[object]]:
    """By act, what it showed each time."""
    found: dict[str, list[object]] = {}
    for step in sitting.steps:
        shown = [f for f in step.facts if isinstance(f, Run | Reading)]
        found.setdefault(step.move.id, []).append(shown)
    return found


@pytest.mark.parametrize("level", LEVELS)
def test_the_order_of_other_acts_changes_no_result(level: int) -> None:
    """Tests turned around, some made twice, show the same by act and time."""
    texts = ["response 1-3", "valve-code 2", "bleed all", "valve-code 2", "look-leak@row-3/hose"]
    moves = [READ(text) for text in [*texts, *texts]]
    one, other = play(drill(level), moves), play(drill(level), moves[::-1])
    assert seen(one) == seen(other)


@pytest.mark.slow
@pytest.mark.parametrize("level", LEVELS)
def test_the_same_moves_show_the_same(level: int) -> None:
    """However often they are played."""
    moves = simulate(drill(level), planner).moves
    assert play(drill(level), moves) == play(replace(drill(level)), moves)


@pytest.mark.slow
def test_a_prefix_of_the_moves_is_a_prefix_of_the_story() -> None:
    """So a drill can be taken up from its code and its moves."""
    moves = simulate(drill(1), planner).moves
    whole = play(drill(1), moves).events
    for number in range(len(moves)):
        part = play(drill(1), moves[:number]).events
        assert whole[: len(part)] == part


def test_every_first_run_fails_somewhere() -> None:
    """A drill in which nothing fails would be none."""
    for level in LEVELS:
        for seed in range(20):
            assert any(drill(level, seed).revealed().failed.values())


def test_levels_hide_what_they_say() -> None:
    """One row's part, a shared part, bad circumstances, two faults."""
    for seed in range(20):
        [(own, _)] = drill(1, seed).revealed().faults
        [(shared, _)] = drill(2, seed).revealed().faults
        assert len(MACHINE.rows_of(own)) == 1
        assert len(MACHINE.rows_of(shared)) > 1
        assert any(drill(3, seed).revealed().states.values())
        assert len(drill(4, seed).revealed().faults) == 2


def cold() -> int:
    """A seed of level 3 whose oil is cold."""
    found = (
        seed
        for seed in range(200)
        if drill(3, seed).revealed().states["response"].get("oil") == "cold"
    )
    return next(found)


def test_what_misleads_is_told_only_to_who_asks() -> None:
    """Cold oil is in no story until somebody asks."""
    hidden = drill(3, cold())
    firsts = [e.what for e in hidden.opening if isinstance(e.what, Run)]
    assert all("oil" not in run.circumstances for run in firsts)
    [answer] = play(hidden, [READ("ask oil 2")]).steps[0].facts
    assert isinstance(answer, Answered)
    assert answer.value == 8.0


def test_a_run_made_as_it_should_be_pays_for_warm_oil_once() -> None:
    """And then says how cold it was."""
    sitting = play(drill(3, cold()), [READ("response 1"), READ("response 1")])
    first, second = sitting.steps
    assert first.besides == ("oil",)
    assert first.minutes - second.minutes >= KNOWLEDGE.setups["warm-oil"].enter_minutes
    assert second.besides == ()


def test_somebody_may_not_remember() -> None:
    """Level 4: then the question is not asked again by the planner."""
    for seed in range(30):
        step = play(drill(4, seed), [READ("ask oil 2")]).steps[0]
        if isinstance(step.facts[0], Skipped):
            sitting = play(drill(4, seed), [step.move])
            assert step.move.id in decision_point_of(sitting).view.state.skipped
            return
    pytest.fail("somebody always remembered")


@pytest.mark.parametrize("circumstance", ["oil", "supply"])
def test_numbers_of_circumstances_mean_their_states(circumstance: str) -> None:
    """The rules read each number as the state that it stands for."""
    for check in KNOWLEDGE.checks:
        for state in KNOWLEDGE.circumstances[circumstance].states:
            if check == "response" and state.id == "high":
                continue  # nothing comes of it there: no rule and no harm
            value = load_drills().value(circumstance, check, state.id)
            run = Run(1, check, (Result.PASS,) * 6, {circumstance: value})
            found = conclude_case(MACHINE, Case("mounted-6", (run,)), KNOWLEDGE)
            states = [f.values["state"] for f in found if f.kind == "state"]
            assert states == [state.id]


def bad_results() -> list[tuple[str, str, str]]:
    """(part, measurement, result) of everything that is read as a number."""
    return [
        (part, made.id, result.id)
        for part, kind in MACHINE.parts.items()
        if part.startswith("row-1/") or len(MACHINE.rows_of(part)) > 1
        for made in kind.measurements
        if made.unit != "choice"
        for result in made.results
    ]


@pytest.mark.parametrize(("part", "measurement", "result"), bad_results())
def test_numbers_of_instruments_mean_their_results(
    part: str, measurement: str, result: str
) -> None:
    """The rules read each number as the result that it stands for."""
    for oil in (54.0, 34.0, 8.0):
        value = load_drills().reading(measurement, result, 180.0)
        assert value is not None
        known = {"oil": oil, "supply": 180.0}
        run = Run(1, "response", (Result.FAIL,) + (Result.PASS,) * 5, known)
        case = Case("mounted-6", (run,), (Reading(measurement, part, value),))
        found = conclude_case(MACHINE, case, KNOWLEDGE)
        assert [f.values["result"] for f in found if f.kind == "reading"] == [result]


@pytest.mark.parametrize(
    ("text", "id"),
    [
        ("response 5-6", "response@5-6"),
        ("bleed all", "bleed@1-6"),
        ("response 1 3", "response@1,3"),
        ("coil-resistance 6", "coil-resistance@row-6/valve"),
        ("swap-coil 6 5", "swap-coil@row-6/valve+row-5/valve"),
        ("swap-coil 6", "swap-coil@row-6/valve+row-5/valve"),
        ("supply-voltage", "supply-voltage@power/feed"),
        ("ask oil", "ask:oil@2"),
        ("ask oil 1", "ask:oil@1"),
        ("declare 6 coil open", "declare:row-6/valve:coil_open"),
        ("declare row-6/valve:coil_open, row-2/valve:leaking", ""),
        ("declare none", "declare:none"),
        ("give up", "give-up"),
    ],
)
def test_short_words_mean_acts(text: str, id: str) -> None:
    """And the id of each act means the act itself."""
    move = READ(text)
    assert READ(move.id) == move
    assert move.id == id or not id


@pytest.mark.parametrize(
    "text", ["", "dance", "response", "response 9", "ask weather", "declare 6", "coil-resistance"]
)
def test_what_means_nothing_is_refused_with_what_would_be_right(text: str) -> None:
    """Each says what was expected."""
    with pytest.raises(Wrong) as caught:
        READ(text)
    assert caught.value.remedy or caught.value.expected


def test_whoever_mends_on_and_on_is_called_off() -> None:
    """The machine goes to somebody else."""
    moves = [Move("mend", "bleed-again", part="row-1/air")] * 20
    sitting = play(drill(1), moves)
    assert sitting.called_off or len(sitting.steps) == 20
    assert decision_point_of(play(drill(1), moves[:1])).view.state.case.work


@pytest.mark.parametrize("tool", get_args(Tool))
def test_a_hint_says_how_something_is_read_whatever_the_tool(tool: str) -> None:
    assert tool in READ_WITH
