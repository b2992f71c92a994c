"""Drills played by the planner, by practice and by chance: marks, and whether blame is right.

Run with ``python -m tests.bench.drills marks MACHINE COUNT`` for the marks of each player at each
level, ``python -m tests.bench.drills skills MACHINE COUNT`` for what each level trains, or
``python -m tests.bench.drills calibration MACHINE COUNT LEVEL`` for the planner's last blame
against the chance that it states. Seeds are 0, 1, 2, and so on.

The world draws by the priors alone at level 0, under good circumstances that are told; there the
program believes what is true of the draw, and blame stated at p should be right in p of the
drills. At the other levels the draw is from a class (one fault, two, misleading circumstances)
that the program does not know of, so that some distance is to be expected.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from itertools import pairwise
from math import sqrt

import numpy as np

from diagnose.knowledge.base import load_knowledge
from diagnose.training.decision_point import DecisionPoint
from diagnose.training.game import begin, play
from diagnose.training.moves import NONE
from diagnose.training.policies import PLAYERS, decision_point_of, planner, simulate
from diagnose.training.score import Judge
from diagnose.training.share_code import DrillName
from diagnose.training.skills import SKILLS

LEVELS = (1, 2, 3, 4)
EDGES = (0.0, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0001)


def final_blame(machine: str, level: int, seed: int) -> tuple[float, bool]:
    """The chance that the planner states for what it blames in the end, and if that is true."""
    drill = begin(DrillName(machine, level, seed), load_knowledge(learned=False))
    sitting = simulate(drill, planner)
    point = decision_point_of(play(drill, sitting.moves[:-1]))
    blamed = likeliest(point)
    truth = {f"{part}:{mode}" for part, mode in drill.revealed().faults}
    return min(point.there[blamed], 1.0), blamed in truth if blamed != NONE else not truth


def likeliest(point: DecisionPoint) -> str:
    """The one answer that is held likeliest: a cause, or that nothing was broken."""
    return max(point.there, key=lambda cause: point.there[cause])


def calibration(machine: str, count: int, level: int) -> None:
    """Print, by what was stated, how often it was true."""
    started = time.perf_counter()
    pairs = [final_blame(machine, level, seed) for seed in range(count)]
    stated, true = np.array([p for p, _ in pairs]), np.array([t for _, t in pairs])
    print(f"{machine}, level {level}, {count} drills, {time.perf_counter() - started:.0f} s")
    print("stated        drills  mean stated  true   error of the mean")
    for low, high in pairwise(EDGES):
        here = (stated >= low) & (stated < high)
        if here.any():
            _row(f"{low:.2f} to {min(high, 1):.2f}", stated[here], true[here])
    _row("all", stated, true)


def _row(label: str, stated: np.ndarray, true: np.ndarray) -> None:
    error = sqrt(float((stated * (1 - stated)).sum())) / len(stated)
    print(f"{label:13} {len(stated):6} {stated.mean():12.3f} {true.mean():6.3f} {error:11.3f}")


def marks(machine: str, count: int) -> None:
    """Print the mean marks of every player at every level."""
    knowledge = load_knowledge(learned=False)
    print("level  player    marks  worst  cost  best possible  right")
    for level in LEVELS:
        for player, plays in PLAYERS.items():
            found = []
            for seed in range(count):
                drill = begin(DrillName(machine, level, seed), knowledge)
                found.append(Judge(drill).debriefing(simulate(drill, plays)))
            every = np.array([each.marks for each in found])
            cost = np.mean([each.sitting.cost for each in found])
            best = np.mean([each.best_possible for each in found])
            right = np.mean([each.right for each in found])
            print(
                f"{level:5}  {player:9} {every.mean():5.1f} {every.min():6} {cost:5.0f} "
                f"{best:14.0f} {right:6.2f}",
                flush=True,
            )


def skills(machine: str, count: int) -> None:
    """Print by level of how many moves each skill came up, and in what share of drills, for the
    planner and practice together.
    """
    knowledge = load_knowledge(learned=False)
    print("level  skill               of 100 moves  a drill  drills with it")
    for level in LEVELS:
        drills = [begin(DrillName(machine, level, seed), knowledge) for seed in range(count)]
        every = [
            Judge(drill).debriefing(simulate(drill, PLAYERS[who]))
            for who in ("planner", "practice")
            for drill in drills
        ]
        moves = sum(len(done.sitting.moves) for done in every)
        for skill in SKILLS:
            came = [done.skills.get(skill, (0, 0))[1] for done in every]
            share = np.mean([each > 0 for each in came])
            many = f"{100 * sum(came) / moves:12.0f} {np.mean(came):8.1f} {share:15.2f}"
            print(f"{level:5}  {skill:19} {many}", flush=True)


def main(arguments: Sequence[str]) -> None:
    """Run what the arguments ask for."""
    what, machine, count = arguments[0], arguments[1], int(arguments[2])
    if what == "marks":
        marks(machine, count)
    elif what == "skills":
        skills(machine, count)
    else:
        calibration(machine, count, int(arguments[3]))


if __name__ == "__main__":
    main(sys.argv[1:])
