"""Which rows are worth running again."""

from __future__ import annotations

from diagnose.machine.graph import load_machine
from diagnose.planner.candidates import row_sets
from diagnose.tolerances import MOST_SUSPECTS


def test_of_many_suspects_those_nearest_the_target_are_run_alone() -> None:
    machine = load_machine("folding-24")
    every = tuple(range(1, machine.rows + 1))
    alone = sorted(rows[0] for rows in row_sets(machine, every, every, 20) if len(rows) == 1)
    farthest = max(abs(row - 20) for row in alone)
    assert len(alone) == MOST_SUSPECTS < machine.rows
    assert all(row in alone for row in every if abs(row - 20) < farthest)
