"""Swaps with a neighbour: with which row, how they turn out, and never twice."""

from __future__ import annotations

from functools import cache

import pytest

from diagnose.diagnosis.causes import Ranking
from diagnose.observations.events import Swapped
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.offers import Proposal, exactly, next_tests
from diagnose.planner.swaps import neighbour, swaps
from diagnose.planner.what_if import chance, what_if
from tests.diagnosis.situations import RESPONSE, STEADY, ranked
from tests.planner.quickscore import Made, Moves, joint_chance

FAILED = {row: row == 6 for row in range(1, 7)}
SWAPS = ["cross-plugs", "swap-driver", "swap-coil", "swap-valve", "swap-sensor"]


@cache
def one_row() -> Ranking:
    return ranked("mounted-6", *STEADY, "first-hookup=no", "response=PPPPPF", *RESPONSE)


@cache
def proposed() -> dict[str, Proposal]:
    return {p.candidate.id.partition("@")[0]: p for p in next_tests(one_row())}


def chances(proposal: Proposal) -> dict[str, float]:
    return {prospect.result: prospect.probability for prospect in proposal.prospects}


def offered(*story: str, machine: str = "mounted-6") -> dict[str, str]:
    """Which part changes places with which, by the id of the swap."""
    ranking = ranked(machine, *STEADY, *story)
    acts = swaps(ranking.evidence, fault_groups(ranking)[0].target)
    works = [act.work for act in acts]
    return {work.swap: work.other for work in works if isinstance(work, Swapped)}


def moved(ranking: Ranking, swap: str, row: int, other: int) -> Moves:
    """Where every state of two rows stands after a swap, from what the knowledge says it moves."""
    model = ranking.evidence.model
    parts = {p.partition("/")[2]: k for p, k in model.machine.parts.items() if "row-1/" in p}
    ((place, kind),) = [(p, k) for p, k in parts.items() if swap in {s.id for s in k.swaps}]
    moves: dict[int, int] = {}
    for name in kind.swap(swap).moves:
        along = [(p, m.id) for p, k in parts.items() if k.id == name for m in k.modes]
        for there, mode in along or [(place, name)]:
            here = model.flat(f"row-{row}/{there}", mode)
            beside = model.flat(f"row-{other}/{there}", mode)
            moves |= {here: beside, beside: here}
    return moves


@pytest.mark.parametrize("swap", SWAPS)
def test_what_is_shown_is_the_law_of_total_probability(swap: str) -> None:
    before = Made("response", FAILED, {})
    moves = moved(one_row(), swap, 6, 5)
    known = joint_chance(one_row(), [before])
    wanted = {
        result: joint_chance(one_row(), [before, Made("response", {6: here, 5: there}, moves)])
        / known
        for result, here, there in [
            ("the failure stays", True, False),
            ("the failure goes along", False, True),
            ("both pass", False, False),
            ("both fail", True, True),
        ]
    }
    assert chances(exactly(one_row(), proposed()[swap])) == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize("swap", SWAPS)
def test_the_quick_table_is_close_to_it(swap: str) -> None:
    quick = proposed()[swap]
    assert chances(quick) == pytest.approx(chances(exactly(one_row(), quick)), abs=0.01)


def test_the_nearest_row_that_passed_is_taken() -> None:
    assert set(offered("response=PPPPPF", *RESPONSE).values()) == {
        f"row-5/{part}" for part in ("connector", "driver", "valve", "sensor")
    }


def test_a_row_that_failed_lends_nothing() -> None:
    assert {other.partition("/")[0] for other in offered("response=PPPFFF").values()} == {"row-3"}


def test_a_row_that_was_not_run_lends_nothing() -> None:
    assert {other.partition("/")[0] for other in offered("response=P...PF").values()} == {"row-5"}
    assert {other.partition("/")[0] for other in offered("response=P....F").values()} == {"row-1"}


def test_a_row_that_passed_once_and_failed_since_lends_nothing() -> None:
    found = offered("response=PPPPPF", "response=PPPPFF")
    assert {other.partition("/")[0] for other in found.values()} == {"row-4"}


def test_no_swap_without_a_sound_row() -> None:
    assert offered("response=FFFFFF", *RESPONSE) == {}


def test_leads_reach_to_rows_of_their_own_branch_only() -> None:
    ranking = ranked("mounted-12", *STEADY, "response=PPPPFPPPPPPP")
    evidence = ranking.evidence
    assert next(rows for rows in evidence.model.machine.branches.values() if 5 in rows)[0] == 5
    assert neighbour(evidence, 5, "response", electric=False) == 4
    assert neighbour(evidence, 5, "response", electric=True) == 6
    found = offered("response=PPPPFPPPPPPP", machine="mounted-12")
    assert found["cross-plugs"] == "row-6/connector"
    assert found["swap-coil"] == "row-4/valve"


def test_no_swap_is_offered_twice() -> None:
    found = offered("response=PPPPPF", *RESPONSE, "swap-coil@row-6=row-5", "response=....PF")
    assert "swap-coil" not in found
    assert {"cross-plugs", "swap-sensor", "swap-valve"} <= set(found)


def test_a_failure_that_goes_along_leads_to_what_was_swapped() -> None:
    shown = exactly(one_row(), proposed()["swap-coil"])
    along = next(p for p in shown.prospects if p.result == "the failure goes along")
    assert along.leads_to in ("row-6/valve:coil_open", "row-6/valve:coil_shorted")


def test_supposed_outcomes_of_a_swap_are_all_there_are() -> None:
    act = proposed()["swap-valve"].candidate
    after = [what_if(one_row(), act, outcome) for outcome in act.outcomes]
    assert sum(chance(one_row(), each) for each in after) == pytest.approx(1, abs=1e-9)
