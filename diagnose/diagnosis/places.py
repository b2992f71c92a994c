"""How likely something is wrong at each part's place, after swaps."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import partial

import numpy as np

from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.inference import budget
from diagnose.inference.posterior import log_evidence

_EXACT = 300e6
"""Table entries that may be taken for places where faults of two parts have met."""


def suspicion(ranking: Ranking, least: float = 0.0005) -> Mapping[str, float]:
    """By part the exact probability that it has a fault now; unlikely ones are left out.

    What a swap took along counts where it is now. The modes of one part exclude each other, so
    their probabilities add up; where faults of two parts have met, the probability of either is
    inferred anew (where that takes too much, their sum bounds it). Raises `ImpossibleEvidence`.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.api import rank
    >>> machine = load_machine("mounted-6")
    >>> told = ["bleed=PPPPPP", "response=PPPPPF", "oil=54C"]
    >>> found = suspicion(rank(machine, read_typed(machine, told)))
    >>> max(found, key=found.__getitem__)
    'row-6/valve'
    """
    here: dict[str, list[Cause]] = defaultdict(list)
    for cause in ranking.causes:
        if cause.group != "circumstances":
            here[_place(ranking, cause)].append(cause)
    exact = budget.Allowance(_EXACT)
    found = {
        place: exact.give(partial(_any_of, ranking, causes), _at_most(causes), place)
        for place, causes in here.items()
    }
    return {place: chance for place, chance in found.items() if chance >= least}


def _place(ranking: Ranking, cause: Cause) -> str:
    epochs = ranking.evidence.epochs
    return epochs.place_of(cause.part, cause.mode) if epochs.work else cause.part


def _any_of(ranking: Ranking, causes: Sequence[Cause]) -> float:
    """The probability that at least one of some causes is there."""
    if len({cause.part for cause in causes}) == 1:
        return _at_most(causes)
    evidence = ranking.evidence
    sound = {part: _others(ranking, part, causes) for part in {each.part for each in causes}}
    narrow = log_evidence(evidence.network.restricted(sound))
    return float(np.clip(-np.expm1(narrow - ranking.posterior.log_evidence), 0.0, 1.0))


def _at_most(causes: Sequence[Cause]) -> float:
    return min(1.0, sum(cause.probability for cause in causes))


def _others(ranking: Ranking, part: str, causes: Sequence[Cause]) -> list[int]:
    """Within a part's variable, the states that none of its causes stands for."""
    offsets, v = ranking.evidence.offsets, ranking.evidence.variables.index(part)
    own = {state for cause in causes if cause.part == part for state in cause.states}
    first, end = int(offsets[v]), int(offsets[v + 1])
    return [state - first for state in range(first, end) if state not in own]
