"""A second route to the chance of results: inclusion and exclusion over what failed.

The chance that some findings are all absent is a plain product over variables, whatever else is
open; that some are present follows by adding and subtracting such products (Quickscore,
Heckerman 1989). Slow in the number of failures, and independent of the code under test.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, combinations

import numpy as np

from diagnose.arrays import Floats
from diagnose.diagnosis.causes import Ranking

Moves = Mapping[int, int]
"""Which state of the machine stands where another one stood, after a swap."""


@dataclass(frozen=True)
class Made:
    """A run: its check, its results by row (True when the row failed), and what is where in it.

    ``hidden`` are states that it cannot show, for they were cleared before it.
    """

    check: str
    failed: Mapping[int, bool]
    moves: Moves
    hidden: frozenset[int] = frozenset()


def joint_chance(ranking: Ranking, runs: Sequence[Made]) -> float:
    """The probability of the results of several runs, each made under good circumstances."""
    every = [(run, number, row) for number, run in enumerate(runs) for row in run.failed]
    failed = [one for one in every if one[0].failed[one[2]]]
    passed = [one for one in every if not one[0].failed[one[2]]]
    total = 0.0
    for some in chain.from_iterable(combinations(failed, n) for n in range(len(failed) + 1)):
        sign = -1 if len(some) % 2 else 1
        total += sign * _all_pass(ranking, [*passed, *some], len(runs))
    return total


def _all_pass(ranking: Ranking, findings: Sequence[tuple[Made, int, int]], runs: int) -> float:
    model = ranking.evidence.model
    survival = np.ones(model.offsets[-1])
    upset: list[Floats] = [np.ones(2) for _ in range(runs)]
    leak = 1.0
    for run, number, row in findings:
        for state, kept in _survivals(ranking, run, row).items():
            survival[state] *= kept
        spoiled = model.knowledge.circumstances["upset"].states[1]
        upset[number][1] *= 1 - spoiled.shows[run.check]
        leak *= 1 - model.knowledge.checks[run.check].false_alarm
    prior = ranking.evidence.part_prior
    parts = np.add.reduceat(prior * survival, model.offsets[:-1]).prod()
    return float(leak * parts * np.prod([_mixed(ranking, run) for run in upset]))


def _mixed(ranking: Ranking, upset: Floats) -> float:
    chance = ranking.evidence.model.knowledge.circumstances["upset"].states[1].prior_for("response")
    weights = np.array([1.0, chance])
    return float((weights * upset).sum() / weights.sum())


def _survivals(ranking: Ranking, run: Made, row: int) -> dict[int, float]:
    """What each state of the machine leaves of a row's chance to pass, as the knowledge has it."""
    model = ranking.evidence.model
    found = {}
    for part in model.machine.ancestors(row, run.check):
        for mode in model.machine.parts[part].modes:
            there = model.flat(part, mode.id)
            state = run.moves.get(there, there)
            if state not in run.hidden:
                found[state] = 1 - mode.shows.get(run.check, 0.0)
    return found
