"""Whether stated probabilities mean what they say: faults drawn from the priors, then ranked.

Run with ``python -m tests.bench.calibration MACHINE CASES``. Every cause of at least 0.0005 in
the first ranking of every case counts, and apart from that the leading cause of each.
"""

from __future__ import annotations

import sys

import numpy as np

from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from tests.bench.planner import begin
from tests.bench.practice import Setting, hidden_faults
from tests.bench.scores import calibration_error, reliability

EDGES = (0.0, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)
LEAST = 0.0005


def stated_and_true(machine_id: str, cases: int) -> tuple[np.ndarray, np.ndarray]:
    """Two columns each: what was stated and what was true, of all causes and of leading ones."""
    knowledge = load_knowledge()
    machine = load_machine(machine_id, knowledge)
    rows = []
    for hidden in hidden_faults(machine_id, cases, 7, Setting()):
        ranking = begin(hidden.world(machine, knowledge))
        parts = [cause for cause in ranking.causes if cause.group != "circumstances"]
        for place, cause in enumerate(parts):
            if cause.probability >= LEAST:
                there = float((cause.part, cause.mode) in hidden.faults)
                rows.append((cause.probability, there, float(place == 0)))
    table = np.array(rows)
    return table[:, :2], table[table[:, 2] == 1, :2]


def main(machine_id: str, cases: int) -> None:
    """Print the reliability tables and the scores."""
    for name, table in zip(
        ("all causes", "leading causes"), stated_and_true(machine_id, cases), strict=True
    ):
        stated, happened = table.T
        safe = np.clip(np.where(happened > 0, stated, 1 - stated), 1e-12, 1)
        print(f"{machine_id}, {cases} cases, {name}: {len(stated)} probabilities")
        for p, o, count in reliability(stated, happened, EDGES):
            half = 1.96 * np.sqrt(max(o * (1 - o), 1e-9) / count)
            print(f"  stated {p:7.4f}   true {o:7.4f} ± {half:.4f}   {count:6d}")
        print(
            f"  calibration error {calibration_error(stated, happened, EDGES):.4f}, "
            f"Brier {((stated - happened) ** 2).mean():.5f}, log loss {-np.log(safe).mean():.5f}"
        )


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
