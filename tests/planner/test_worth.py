"""What a remedy costs counts the way there and back, parts, and the bleed of what it opens."""

from __future__ import annotations

from diagnose.planner.decide import best_choice
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.repair_cost import _work
from tests.diagnosis.situations import ranked


def test_a_new_valve_costs_its_work_its_parts_and_the_bleed() -> None:
    """1 to stop and 1 to start the engine, 35 of work, 90 for a large price, and 13.5 to bleed.

    The bleed: 5 until the hose is on, 3 to set up and 1.5 for the row, 4 until it is off again.
    """
    ranking = ranked("mounted-6", "response=PPPPPF")
    (leaks,) = (cause for cause in ranking.causes if cause.id == "row-6/valve:leaking")
    response = ranking.evidence.model.knowledge.checks["response"]
    assert _work(ranking, leaks, response) == 1 + 35 + 90 + 1 + 5 + 3 + 1.5 + 4


def test_a_required_rerun_from_parked_counts_the_start_of_the_engine() -> None:
    """2 to put the engine right, 3 to set up and 0.15 for the row, after 1 to start it."""
    ranking = ranked("mounted-6", "response=PPPPPF", "engine=off", "coil-resistance@row-6=8ohm")
    choice = best_choice(TroubleshootingProblem(ranking, fault_groups(ranking)[0]))
    assert choice.required
    assert choice.minutes == 2 + 3 + 0.15 + 1
