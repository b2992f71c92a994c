"""Drills that several tests play."""

from __future__ import annotations

from functools import cache

from diagnose.knowledge.base import load_knowledge
from diagnose.training.game import Drill, begin
from diagnose.training.policies import PLAYERS, simulate
from diagnose.training.score import Debriefing, Judge
from diagnose.training.share_code import DrillName

KNOWLEDGE = load_knowledge(learned=False)
LEVELS = (0, 1, 2, 3, 4)


@cache
def drill(level: int, seed: int = 3, machine: str = "mounted-6") -> Drill:
    """A drill on a small machine."""
    return begin(DrillName(machine, level, seed), KNOWLEDGE)


@cache
def debriefed(player: str, level: int, seed: int) -> Debriefing:
    """A drill that was played to the end."""
    hidden = drill(level, seed)
    return Judge(hidden).debriefing(simulate(hidden, PLAYERS[player]))
