"""Causes that only together explain the pattern."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.diagnosis.evidence import Evidence, Observation
from diagnose.inference.network import PRESENT
from diagnose.inference.posterior import log_evidence
from diagnose.observations.case import Case
from diagnose.observations.result import Result
from diagnose.observations.rows import rows_in_words
from diagnose.record import record
from diagnose.tolerances import EXPLAINED_ALONE, LIKELY_ENOUGH_TO_JOIN


@record
class JointExplanation:
    """A set of causes of which each stands for a place, and what they explain together.

    ``probability`` is that of every one of these places having a fault of its own.
    """

    causes: tuple[Cause, ...]
    probability: float
    says: str


def joint_explanations(ranking: Ranking) -> JointExplanation | None:
    """The likeliest few causes that jointly explain every failure, when hardly any single one does.

    None when causes that each explain everything are probable together, or when no serious
    causes explain it all (chance does better).

    >>> from diagnose import load_machine, rank, read_typed
    >>> good = ["oil=54C", "engine=on", "moving=no", "supply=180bar", "bleed-hose=stowed"]
    >>> told = read_typed(load_machine("mounted-6"), [*good, "response=FPPPPF"])
    >>> joint_explanations(rank(load_machine("mounted-6"), told)).says
    'No one cause explains every failure: row 1 and row 6 need causes of their own'
    """
    failed = _failures(ranking.evidence.case)
    alone = [cause for cause in ranking.causes if _explains(cause, failed) == failed]
    if not failed or sum(cause.probability for cause in alone) >= EXPLAINED_ALONE:
        return None
    serious = [
        c for c in ranking.causes if c.probability >= LIKELY_ENOUGH_TO_JOIN and c not in alone
    ]
    covers = [_cover(serious, failed, order) for order in (_widest, _likeliest)]
    found = [_together(ranking, cover, failed) for cover in covers if cover]
    return max(found, key=lambda each: each.probability, default=None)


def _together(
    ranking: Ranking, chosen: Sequence[Cause], failed: frozenset[tuple[int, int]]
) -> JointExplanation:
    chosen = sorted(chosen, key=lambda cause: min(_explains(cause, failed)))
    places = list(dict.fromkeys(cause.part.partition("/")[0] for cause in chosen))
    reached = [_reached(cause, failed) for cause in chosen]
    return JointExplanation(tuple(chosen), _each_at_fault(ranking, places), _says(reached))


def _reached(cause: Cause, failed: frozenset[tuple[int, int]]) -> str:
    """The rows that a cause explains, or the run that it spoiled."""
    explained = _explains(cause, failed)
    if cause.group == "circumstances":
        return f"run {min(run for run, _ in explained)}"
    return rows_in_words(sorted({row for _, row in explained}))


def _says(rows: Sequence[str]) -> str:
    """In words.

    >>> _says(["row 3", "row 20"])
    'No one cause explains every failure: row 3 and row 20 need causes of their own'
    """
    start = "No one cause explains every failure: "
    if len(rows) == 1:
        return f"{start}{rows[0]} needs a cause of its own"
    return f"{start}{', '.join(rows[:-1])} and {rows[-1]} need causes of their own"


def _each_at_fault(ranking: Ranking, places: Sequence[str]) -> float:
    """The posterior probability that each place has a fault in at least one of its parts.

    For each place a finding that any fault there brings about for certain is taken as present:
    the evidence then shrinks by just this probability.
    """
    evidence = ranking.evidence
    certain = [_any_fault(evidence, place) for place in places]
    joint = log_evidence(evidence.network_of([*evidence.observed, *certain]))
    return float(np.exp(joint - ranking.posterior.log_evidence))


def _any_fault(evidence: Evidence, place: str) -> Observation:
    names = [name for name in evidence.variables if name.partition("/")[0] == place]
    states = np.concatenate(
        [
            np.arange(evidence.offsets[v] + 1, evidence.offsets[v + 1])
            for v in map(evidence.variables.index, names)
        ]
    )
    return Observation(
        f"fault in {place}", PRESENT, 0.0, place, (states, np.full(len(states), -np.inf))
    )


def _failures(case: Case) -> frozenset[tuple[int, int]]:
    """Every failure as (run, row)."""
    return frozenset((run.index, row) for run in case.runs for row in run.rows_with(Result.FAIL))


def _explains(cause: Cause, failed: frozenset[tuple[int, int]]) -> frozenset[tuple[int, int]]:
    """The failures that a cause can reach; a circumstance only reaches its own run."""
    if cause.group == "circumstances":
        return frozenset((run, row) for run, row in failed if cause.part == f"run-{run}")
    return frozenset((run, row) for run, row in failed if row in cause.rows)


Order = Callable[[Cause, int], tuple[float, float]]
"""What puts a cause before others, by itself and by how many failures left it reaches."""


def _widest(cause: Cause, reached: int) -> tuple[float, float]:
    return reached, cause.probability


def _likeliest(cause: Cause, reached: int) -> tuple[float, float]:
    return (cause.probability, reached) if reached else (0.0, 0.0)


def _cover(
    causes: Sequence[Cause], failed: frozenset[tuple[int, int]], order: Order
) -> list[Cause]:
    """Few causes that reach all failures, one after another; empty when none can."""
    left, chosen = failed, []
    while left:
        now = left
        best = max(causes, key=lambda c: order(c, len(_explains(c, now))), default=None)
        if best is None or not _explains(best, left):
            return []
        chosen.append(best)
        left -= _explains(best, left)
    return chosen
