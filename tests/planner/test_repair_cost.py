"""What it would take to clear a fault group by repairs in order."""

from __future__ import annotations

from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.repair_cost import repair_minutes_of
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, ranked


def test_a_remedy_is_paid_with_its_part_its_set_up_and_the_check_that_proves_it() -> None:
    """A coil, all but sure to be open: 15 minutes, 30 for the part, 2 to stop and start the engine.

    The check takes 3 minutes and 0.15 for the row. The doubt that is left, 0.02 to 0.03 of at most
    300 minutes for handing over, is less than 9.
    """
    found = ranked(
        "mounted-6", *STEADY, "bleed=PPPPPP", *BLEED, "response=PPPPPF", *RESPONSE,
        "coil-resistance@row-6=100ohm", "valve-code@row-6=5",
    )  # fmt: skip
    (group,) = fault_groups(found)
    known = 15 + 30 + 2 + 3 + 0.15
    assert known < repair_minutes_of(found, group) < known + 0.03 * 300
