"""Progress says of a skill what its trials say, and the weakest comes next; nobody is compared."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.reports.training import build_progress_report
from diagnose.training.level import load_drills
from diagnose.training.progress import FEWEST, advised, estimated, estimates, weakest
from diagnose.training.record import Finished, Opportunity
from diagnose.training.skills import SKILLS
from tests.training.worlds import LEVELS, debriefed

DATA = load_drills()

PLAYED = ("planner", "practice")
TRIALS = st.lists(st.booleans(), max_size=60)


def done(**trials: Sequence[bool]) -> Finished:
    """A drill in which these skills came up (names with _ for -)."""
    found = [
        Opportunity(name.replace("_", "-"), move, taken)
        for name, every in trials.items()
        for move, taken in enumerate(every, 1)
    ]
    return Finished("Ann", "ABCD", "mounted-6", 1, 80, 90.0, True, tuple(found))


def test_nothing_seen_is_the_prior_of_jeffreys() -> None:
    """Whose interval is that of the arcsine law: sin²(πp/2) at chance p."""
    low, high = estimated("prove", []).interval
    assert low == pytest.approx(math.sin(math.pi * 0.05 / 2) ** 2, abs=1e-9)
    assert high == pytest.approx(math.sin(math.pi * 0.95 / 2) ** 2, abs=1e-9)


@given(TRIALS)
def test_the_chance_lies_in_its_interval_between_none_and_all(trials: list[bool]) -> None:
    """Whatever came, and never at an end."""
    found = estimated("prove", trials)
    low, high = found.interval
    assert 0 < low < found.belief.mean < high < 1
    assert (found.taken, found.of) == (sum(trials), len(trials))


@given(TRIALS)
def test_who_does_the_opposite_has_the_opposite_estimate(trials: list[bool]) -> None:
    """Taken and missed are alike but for their sign."""
    low, high = estimated("prove", trials).interval
    other_low, other_high = estimated("prove", [not each for each in trials]).interval
    assert (other_low, other_high) == pytest.approx((1 - high, 1 - low), abs=1e-9)


def test_what_was_learned_counts_more_than_how_it_was_learned() -> None:
    """Forty trials, half of them taken, earlier or later."""
    learned = estimated("prove", [False] * 20 + [True] * 20)
    lost = estimated("prove", [True] * 20 + [False] * 20)
    assert learned.interval[0] > 0.5 > lost.interval[1]
    assert (learned.taken, learned.of) == (lost.taken, lost.of)


def test_trials_never_weigh_more_than_twenty() -> None:
    """Beside the one of the prior, however many there were."""
    belief = estimated("prove", [True, False, True] * 500).belief
    assert belief.hits + belief.misses == pytest.approx(1 + 20)


@pytest.mark.parametrize("chance", [0.2, 0.5, 0.8])
@pytest.mark.parametrize("many", [10, 60])
def test_the_interval_holds_the_chance_about_as_often_as_it_says(chance: float, many: int) -> None:
    """Of 400 invented people who do not change; fading makes it wider than it need be then."""
    rng = random.Random(many)
    held = 0
    for _ in range(400):
        low, high = estimated("prove", [rng.random() < chance for _ in range(many)]).interval
        held += low <= chance <= high
    assert held / 400 >= 0.88


def test_too_few_opportunities_are_not_known_yet() -> None:
    """And no number is told."""
    few, enough = done(prove=[True] * (FEWEST - 1)), done(prove=[True] * FEWEST)
    for record, known in (([few], False), ([enough], True)):
        skills = {each["skill"]: each for each in told(record, "skills")}
        assert (skills["prove"]["mean"] is not None) == known
        assert skills["patterns"]["low"] is None


def told(record: list[Finished], part: str) -> list[dict[str, object]]:
    """A part of the report."""
    found = build_progress_report("Ann", record, DATA).plain()[part]
    assert isinstance(found, list)
    return found


def test_level_one_comes_before_any_record() -> None:
    """And says that there is none."""
    advice = advised([], DATA)
    assert (advice.level.number, advice.estimate) == (1, None)
    assert "no finished drill" in advice.why


def test_what_is_never_taken_comes_before_what_was_never_seen() -> None:
    """Which comes before what is taken now and then."""
    missed = estimates([done(prove=[False] * 6, patterns=[True, False] * 5)])
    assert weakest(missed, DATA).skill == "prove"
    seldom = estimates([done(prove=[True] * 6, patterns=[True, False] * 5)])
    assert weakest(seldom, DATA).of == 0


def test_unseen_skills_get_their_turn_level_by_level() -> None:
    """Whoever takes all that comes is led through the levels, and then to what is weakest."""
    record: list[Finished] = []
    seen: list[int] = []
    for _ in SKILLS:
        advice = advised(record, DATA)
        seen.append(advice.level.number)
        skills = {each.replace("-", "_"): [True] * 10 for each in advice.level.trains}
        record.append(done(**skills))
    assert seen[:4] == [1, 2, 3, 4]
    assert all(each.of for each in estimates(record))


def test_every_opportunity_of_every_drill_counts_in_the_order_of_play() -> None:
    """The oldest drill first."""
    [prove] = [
        each
        for each in estimates([done(prove=[False]), done(prove=[True, True])])
        if each.skill == "prove"
    ]
    assert prove.belief == estimated("prove", [False, True, True]).belief


def test_a_record_of_a_skill_that_is_no_longer_one_is_left_out() -> None:
    """The rest of it counts."""
    found = estimates([done(juggling=[True], prove=[True])])
    assert {each.skill for each in found} == SKILLS.keys()
    assert sum(each.of for each in found) == 1


def test_every_skill_has_a_level_and_every_level_but_the_open_one_has_skills() -> None:
    """And no other word stands there."""
    trained = [set(level.trains) for level in DATA.levels]
    assert set().union(*trained) == SKILLS.keys()
    assert [level.number for level in DATA.levels if not level.trains] == [0]


@pytest.mark.slow
def test_levels_train_what_really_comes_up() -> None:
    """In most drills, whether the planner plays or practice (few drills, fewer where they are long;
    ``tests.bench.drills skills`` plays many).
    """
    for level in DATA.levels:
        seeds = (1,) if level.number == LEVELS[-1] else (0, 1)
        every = [debriefed(who, level.number, seed) for who in PLAYED for seed in seeds]
        for skill in level.trains:
            assert sum(skill in done.skills for done in every) > len(every) / 2
