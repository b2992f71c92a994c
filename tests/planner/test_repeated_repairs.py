"""A remedy that may fail is reckoned with the minutes of doing it, and proving it, again."""

from __future__ import annotations

from functools import cache

import pytest

from diagnose.decision.problem import Repair
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import TroubleshootingProblem
from tests.diagnosis.situations import RESPONSE, STEADY, ranked

PROOF = 3 + 0.15
"""Minutes to set up the response check, and for one row (graphs/checks/response.yaml)."""

OVER_AND_BACK = 1 + 1
"""Minutes to stop the engine for the work, and to start it again (graphs/setups/running.yaml)."""


@cache
def repairs() -> dict[str, Repair]:
    """What can be done about row 6, which failed the response check."""
    ranking = ranked("mounted-6", *STEADY, "response=PPPPPF", *RESPONSE)
    return {
        one.id: one
        for one in TroubleshootingProblem(ranking, fault_groups(ranking)[0]).finite.repairs
    }


@pytest.mark.parametrize(
    ("remedy", "minutes", "fixes"),
    [
        ("reseat-connector@row-6/connector", 5, 0.8),
        ("response-again", 0, 1.0),
    ],
)
def test_what_works_so_often_is_done_the_inverse_of_it_many_times(
    remedy: str, minutes: float, fixes: float
) -> None:
    """The mean of a geometric distribution; each try more is proven, and the engine restarted."""
    more = 1 / fixes - 1
    wanted = minutes + more * (minutes + OVER_AND_BACK + PROOF)
    assert repairs()[remedy].minutes == pytest.approx(wanted)


def test_the_last_proof_is_counted_by_itself() -> None:
    assert repairs()["reseat-connector@row-6/connector"].proof_minutes == pytest.approx(PROOF)
