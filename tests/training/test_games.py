"""Whatever is done in a drill, it can be talked over."""

from __future__ import annotations

import pytest

from diagnose.training.game import play
from diagnose.training.moves import Move
from diagnose.training.score import Judge
from tests.bench.games import LAYOUTS, played_game
from tests.training.worlds import KNOWLEDGE, drill


@pytest.mark.slow
@pytest.mark.parametrize("level", [1, 2, 4])
@pytest.mark.parametrize("check", ["bleed", "response"])
def test_a_run_of_every_row_is_talked_over(check: str, level: int) -> None:
    """Though no one would have thought of it: few of its rows have to do with what failed."""
    hidden = drill(level, seed=1, machine="mounted-12")
    sitting = play(hidden, [Move("run", check, tuple(range(1, 13))), Move("give up")])
    done = Judge(hidden).debriefing(sitting)
    assert [verdict.leading != "" for verdict in done.verdicts] == [True, True]
    assert done.losses[0] > 0


@pytest.mark.slow
@pytest.mark.parametrize("number", range(len(LAYOUTS)))
def test_a_random_game_comes_to_its_end(number: int) -> None:
    """Legal moves, words that are none, hints: see `tests.bench.games` for many more."""
    assert played_game(number, KNOWLEDGE).trace == ""
