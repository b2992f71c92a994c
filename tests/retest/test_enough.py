"""A row is rerun only so often, whether it is the one that is asked about or not."""

from __future__ import annotations

from diagnose.ranking.causes import Ranking
from diagnose.retest.candidates import MOST_RUNS, reruns
from diagnose.retest.next import TRIES, best_choice
from diagnose.retest.scene import Scene
from diagnose.retest.targets import troubles
from tests.ranking.situations import RESPONSE, STEADY, ranked

WHOLE = ("response=FFFFFF", *RESPONSE)


def rerun_rows_two_to_four(times: int) -> Ranking:
    again = [word for _ in range(times) for word in ("response=fail:2-4", *RESPONSE)]
    return ranked("mounted-6", *STEADY, *WHOLE, *again)


def offered(ranking: Ranking) -> set[int]:
    """The rows that are in a rerun of the response check, of one trouble about row 1."""
    found = reruns(ranking.evidence, 1, [1, 2, 3, 4, 5, 6])
    return {row for each in found if each.check == "response" for row in each.rows}


def test_a_row_that_is_not_the_target_is_rerun_no_more_often_either() -> None:
    assert offered(rerun_rows_two_to_four(MOST_RUNS - 2)) == {1, 2, 3, 4, 5, 6}
    assert offered(rerun_rows_two_to_four(MOST_RUNS - 1)) == {1, 5, 6}


def test_any_row_of_a_trouble_that_failed_often_enough_is_a_reason_to_hand_over() -> None:
    ranking = rerun_rows_two_to_four(TRIES - 1)
    (trouble,) = troubles(ranking)
    choice = best_choice(Scene(ranking, trouble))
    assert (choice.candidate, f"failed {TRIES} times" in choice.says) == (None, True)
