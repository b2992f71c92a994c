"""What speaks for and against a cause."""

from __future__ import annotations

import pytest

from diagnose.diagnosis.explain import fragile, weights
from tests.diagnosis.situations import both_checks, ranked


def test_the_failing_row_speaks_strongly_for_its_own_parts() -> None:
    ranking = both_checks("mounted-12", [], [6])
    top = ranking.causes[0]
    strongest = weights(ranking, [top])[top.id][0]
    assert strongest.says == "row 6 failing response (run 2)"
    assert strongest.words == "strongly"
    assert strongest.log_odds > 0


def test_rows_that_fail_together_are_one_item() -> None:
    ranking = both_checks("folding-24", range(7, 13), range(7, 13))
    top = ranking.causes[0]
    assert "rows 7–12 failing bleed together (run 1)" in [
        w.says for w in weights(ranking, [top])[top.id]
    ]


def test_rows_that_pass_speak_against_what_would_have_failed_them() -> None:
    ranking = ranked("mounted-12", "response=PPPPPFPPPPPP")
    power = next(c for c in ranking.causes if c.id == "power/feed:lost")
    against = [w.says for w in weights(ranking, [power])[power.id] if w.log_odds < 0]
    assert "rows 1–5 passing response" in against


def test_a_weight_is_the_change_of_log_odds_when_the_item_is_left_out() -> None:
    """By hand: rank again without the run's only failure."""
    ranking = ranked("mounted-6", "response=PPFPPP")
    cause = ranking.causes[0]
    left_out = ranked("mounted-6", "response=PP.PPP")
    before = next(c.probability for c in left_out.causes if c.id == cause.id)
    change = _log_odds(cause.probability) - _log_odds(before)
    assert weights(ranking, [cause])[cause.id][0].log_odds == pytest.approx(change)


def test_a_close_race_is_called_fragile() -> None:
    ranking = both_checks("folding-24", range(7, 13), [])
    assert fragile(ranking), "port and air are nearly equal, so three times the air's prior wins"


def test_a_clear_winner_is_not_fragile() -> None:
    assert fragile(both_checks("folding-16", [1, 2, 3], [1, 2, 3])) == []


def _log_odds(p: float) -> float:
    from math import log

    return log(p / (1 - p))


def test_two_runs_in_cold_oil_are_believed_side_by_side_and_not_fragile() -> None:
    ranking = ranked("mounted-6", "oil=10C", "bleed=FFFFFF", "response=FFFFFF")
    first, second = ranking.causes[:2]
    assert {first.id, second.id} == {"circumstances/oil@1", "circumstances/oil@2"}
    assert second.probability > 0.9
    assert {one.top.id for one in fragile(ranking)}.isdisjoint({first.id, second.id})
