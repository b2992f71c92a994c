"""A row is rerun only so often, and handed over for remedies that were in vain, not for reruns."""

from __future__ import annotations

import pytest

from diagnose.diagnosis.causes import Ranking
from diagnose.planner.candidates import reruns
from diagnose.planner.decide import best_choice
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.tried import tried_in_vain
from diagnose.tolerances import ALL_IN_VAIN, DIFFERENT_IN_VAIN, MOST_FAILURES, MOST_RERUNS
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, ranked

WHOLE = ("response=FFFFFF", *RESPONSE)


def rerun_rows_two_to_four(times: int) -> Ranking:
    again = [word for _ in range(times) for word in ("response=fail:2-4", *RESPONSE)]
    return ranked("mounted-6", *STEADY, *WHOLE, *again)


def offered(ranking: Ranking) -> set[int]:
    """The rows that are in a rerun of the response check, of one fault group about row 1."""
    found = reruns(ranking.evidence, 1, [1, 2, 3, 4, 5, 6])
    return {row for each in found if each.check == "response" for row in each.rows}


def test_a_row_that_is_not_the_target_is_rerun_no_more_often_either() -> None:
    assert offered(rerun_rows_two_to_four(MOST_RERUNS - 2)) == {1, 2, 3, 4, 5, 6}
    assert offered(rerun_rows_two_to_four(MOST_RERUNS - 1)) == {1, 5, 6}


AGAIN = ("response=.....F", *RESPONSE)
FAILED = (*STEADY, "bleed=PPPPPP", *BLEED, "response=PPPPPF", *RESPONSE)
REMEDIES = (
    "reseat-connector@row-6/connector=done",
    "replace-coil@row-6/valve=done",
    "replace-sensor@row-6/sensor=done",
    "clean-connector@row-6/connector=done",
    "replace-valve@row-6/valve=done",
)


def handed_over(*story: str) -> str:
    """Why it is handed over for what was tried, or nothing."""
    ranking = ranked("mounted-6", *FAILED, *story)
    says = best_choice(TroubleshootingProblem(ranking, fault_groups(ranking)[0])).says
    return says if "failed" in says else ""


def test_runs_that_fail_are_no_reason_to_hand_over() -> None:
    assert handed_over(*AGAIN * (MOST_FAILURES + 2)) == ""


def test_a_row_that_failed_often_is_run_again_to_prove_a_remedy_only() -> None:
    often = ranked("mounted-6", *FAILED, *AGAIN * (MOST_FAILURES - 2), REMEDIES[0])
    assert {6} <= {row for each in reruns(often.evidence, 6, [6]) for row in each.rows}
    often = ranked("mounted-6", *FAILED, *AGAIN * (MOST_FAILURES - 1), REMEDIES[0])
    assert list(reruns(often.evidence, 6, [6])) == []


def test_enough_different_remedies_in_vain_are_a_reason_to_hand_over() -> None:
    each = [(remedy, *AGAIN) for remedy in REMEDIES]
    fewer = [word for words in each[: DIFFERENT_IN_VAIN - 1] for word in words]
    assert handed_over(*fewer) == ""
    says = handed_over(*fewer, *each[DIFFERENT_IN_VAIN - 1])
    assert says.startswith(f"row 6 failed again after each of {DIFFERENT_IN_VAIN} repairs")


@pytest.mark.parametrize(
    "work",
    [
        ("reseat-connector@row-5/connector=done", *AGAIN),
        ("swap-coil@row-6=row-5", "response=....PF", *RESPONSE),
        ("coil-resistance@row-6=8ohm", *AGAIN),
        ("bleed-again@row-6/air=done", "response=.....P", *RESPONSE),
        ("replace-coil@row-6/valve=done",),
        ("replace-coil@row-6/valve=done", "bleed=.....P", *BLEED),
    ],
)
def test_what_is_no_remedy_in_vain_for_the_row_does_not_count(work: tuple[str, ...]) -> None:
    assert tried_in_vain(ranked("mounted-6", *FAILED, *work).evidence, 6) == ()


def test_a_remedy_before_the_row_ever_failed_was_not_in_vain() -> None:
    early = ranked("mounted-6", *STEADY, REMEDIES[0], "response=PPPPPF", *RESPONSE)
    assert tried_in_vain(early.evidence, 6) == ()


def test_the_same_remedy_over_and_over_is_enough_too() -> None:
    assert handed_over(*(REMEDIES[0], *AGAIN) * (ALL_IN_VAIN - 1)) == ""
    assert f"each of {ALL_IN_VAIN} repairs" in handed_over(*(REMEDIES[0], *AGAIN) * ALL_IN_VAIN)


def test_what_was_done_twice_is_not_proposed_again() -> None:
    twice = ranked("mounted-6", *FAILED, *("replace-coil@row-6/valve=done", *AGAIN) * 2)
    offers = best_choice(TroubleshootingProblem(twice, fault_groups(twice)[0])).offers
    assert "replace-coil@row-6/valve" not in {offer.candidate.id for offer in offers}
