"""Marks judge decisions: the planner's own lose nothing, chance loses most."""

from __future__ import annotations

from statistics import mean

import pytest

from diagnose.training.game import play
from diagnose.training.moves import Move, MoveReader
from diagnose.training.score import Judge, Verdict, best_possible, reason
from diagnose.training.skills import SKILLS
from tests.training.worlds import KNOWLEDGE, LEVELS, debriefed, drill

SEEDS = range(3)


def seeds(level: int) -> range:
    """Few where drills are long."""
    return range(1, 2) if level == LEVELS[-1] else SEEDS


@pytest.mark.slow
@pytest.mark.parametrize("level", LEVELS)
def test_the_planners_own_moves_score_full_marks(level: int) -> None:
    """On every drill."""
    assert {debriefed("planner", level, seed).marks for seed in seeds(level)} == {100}


@pytest.mark.slow
@pytest.mark.parametrize("level", LEVELS)
def test_the_planners_acts_are_worth_what_the_best_act_is(level: int) -> None:
    """By their value, not because they are the planner's: the offer says the same."""
    for seed in seeds(level):
        done = debriefed("planner", level, seed)
        for point, move in zip(done.points, done.sitting.moves, strict=True):
            acting = point.failed and point.job.to_check is None and move.kind != "give up"
            if acting and not point.choices[0].required:
                assert min(point._losses(move)) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.slow
def test_planner_practice_and_chance_come_in_this_order() -> None:
    """In mean marks over every level, well apart."""
    marks = {
        player: mean(debriefed(player, level, seed).marks for level in (1,) for seed in SEEDS)
        for player in ("planner", "practice", "random")
    }
    assert marks["planner"] == 100
    assert marks["planner"] > marks["practice"] + 20
    assert marks["practice"] > marks["random"]


@pytest.mark.slow
def test_losses_are_never_negative() -> None:
    """No move is better than the best."""
    for player in ("practice", "random"):
        assert all(min(debriefed(player, 1, seed).losses) >= 0 for seed in SEEDS)


@pytest.mark.slow
def test_who_knows_the_fault_needs_least() -> None:
    """The planner needs no less, luck aside, when it ends with every fault mended."""
    for seed in SEEDS:
        done = debriefed("planner", 1, seed)
        if done.right:
            assert done.planned.cost >= best_possible(drill(1, seed)) - 1e-9


def test_the_best_possible_is_the_cheapest_remedy_and_the_full_pass() -> None:
    """Worked out by hand for one fault whose remedy is done with the machine parked."""
    seed = next(
        s for s in range(300) if {m for _, m in drill(1, s).revealed().faults} == {"coil_open"}
    )
    # From running: park 1, coil 15 and a medium part 30, then either bleed first
    # (enter 5, 3 + 6 x 1.5 = 12, leave 4, enter 1, response 3 + 6 x 0.15 = 3.9) or last
    # (enter 1, 3.9, leave 1, enter 5, 12): the second has no way back.
    assert best_possible(drill(1, seed)) == pytest.approx(1 + 45 + 1 + 3.9 + 1 + 5 + 12)


def test_a_repair_of_what_is_sound_is_called_unlikely() -> None:
    """And the part is said to be spent."""
    judge = Judge(drill(1))
    point = judge.point(())
    sound = next(row for row in range(1, 7) if row not in point.failed)
    move = Move("mend", "replace-valve", part=f"row-{sound}/valve")
    assert point.loss(move) > KNOWLEDGE.rates.price_minutes["large"]
    said = reason(point, move, point.loss(move))
    assert "a part was spent" in said
    assert "0 %" in said


def test_a_test_loses_no_more_than_its_own_minutes_and_the_way_back() -> None:
    """What was best before can still be done after it."""
    point = Judge(drill(2)).point(())
    check = KNOWLEDGE.checks["response"]
    longest = check.set_up_minutes + 6 * check.minutes_per_row
    every = Move("run", "response", tuple(range(1, 7)))
    assert 0 <= point.loss(every) <= longest + 1e-9


def test_declaring_at_once_is_called_unproven() -> None:
    """Whatever is declared."""
    point = Judge(drill(1)).point(())
    move = Move("declare", point.declared[0])
    assert point.loss(move) > 0
    assert "before it was proven" in reason(point, move, point.loss(move))


def test_a_test_that_tells_nothing_says_which_two_it_leaves() -> None:
    """Rows that work cannot tell what is wrong with one that does not."""
    point = Judge(drill(1, seed=1)).point(())
    sound = tuple(row for row in range(1, 7) if row not in point.failed)[:1]
    move = Move("run", "response", sound)
    assert "predict the same result" in reason(point, move, point.loss(move))


@pytest.mark.slow
def test_opportunities_are_of_known_skills_and_count_from_one() -> None:
    """So that progress can be kept by skill."""
    for player in ("planner", "practice", "random"):
        done = debriefed(player, 3, 2)
        assert {each.skill for each in done.opportunities} <= SKILLS.keys()
        assert all(1 <= each.move <= len(done.sitting.moves) for each in done.opportunities)


def test_chances_of_faults_are_chances() -> None:
    """At every moment of a drill."""
    for point in debriefed("planner", 4, 1).points:
        assert all(-1e-9 <= chance <= 1 + 1e-9 for chance in point.there.values())


@pytest.mark.slow
def test_declaring_while_leads_are_crossed_costs_what_is_left_to_do() -> None:
    hidden = drill(1, 12)
    read = MoveReader(hidden.machine, KNOWLEDGE, 2)

    def declared(*between: str) -> Verdict:
        done = ("cross-plugs 1 2", "replace-coil 1", *between, "bleed all", *["response all"] * 5)
        moves = [read(text) for text in (*done, "declare row-1/valve:coil_open")]
        return Judge(hidden).debriefing(play(hidden, moves)).verdicts[-1]

    crossed, back = declared(), declared("cross-plugs 2 1")
    assert "leads of rows 1 and 2 are still exchanged" in crossed.reason
    assert "exchanged" not in back.reason
    assert crossed.loss > back.loss + 10
