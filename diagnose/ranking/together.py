"""Causes that only together explain the pattern."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.cases.case import Case, Result
from diagnose.cases.rows import rows_in_words
from diagnose.ranking.causes import Cause, Ranking

SERIOUS = 0.02
"""A cause this probable is worth naming as part of a set."""


@dataclass(frozen=True)
class Together:
    """A set of causes, the joint posterior probability of all of them, and what it explains."""

    causes: tuple[Cause, ...]
    probability: float
    says: str


def together(ranking: Ranking) -> Together | None:
    """The likeliest few causes that jointly explain every failed row, when no single one does.

    None when one cause with a serious share explains them all, or when chance explains some
    failed row better than any cause does.
    """
    failed = _failures(ranking.evidence.case)
    serious = [c for c in ranking.causes if c.probability >= SERIOUS and _explains(c, failed)]
    if not failed or any(_explains(cause, failed) == failed for cause in serious):
        return None
    chosen = _cover(serious, failed)
    if len(chosen) < 2:
        return None
    joint = ranking.posterior.probability(_states(ranking, chosen))
    groups = [rows_in_words(sorted({row for _, row in _explains(c, failed)})) for c in chosen]
    return Together(
        tuple(chosen),
        joint,
        f"No one cause explains every failure: {'; '.join(groups)} need causes of their own",
    )


def _failures(case: Case) -> frozenset[tuple[int, int]]:
    """Every failure as (run, row)."""
    return frozenset((run.index, row) for run in case.runs for row in run.rows_with(Result.FAIL))


def _explains(cause: Cause, failed: frozenset[tuple[int, int]]) -> frozenset[tuple[int, int]]:
    """The failures that a cause can reach; a circumstance only reaches its own run."""
    if cause.group == "circumstances":
        return frozenset((run, row) for run, row in failed if cause.part == f"run-{run}")
    return frozenset((run, row) for run, row in failed if row in cause.rows)


def _cover(causes: Sequence[Cause], failed: frozenset[tuple[int, int]]) -> list[Cause]:
    """Few causes that reach all failures: always the one that reaches most, then the likeliest.

    Empty when they cannot all be reached.
    """
    left, chosen = failed, []
    while left:
        best = max(causes, key=lambda c: (len(_explains(c, left)), c.probability), default=None)
        if best is None or not _explains(best, left):
            return []
        chosen.append(best)
        left -= _explains(best, left)
    return chosen


def _states(ranking: Ranking, causes: Sequence[Cause]) -> dict[str, list[int]]:
    """The joint event: each cause's variable in one of its states."""
    evidence = ranking.evidence
    allowed: dict[str, list[int]] = {}
    for cause in causes:
        first = int(evidence.offsets[evidence.variables.index(cause.part)])
        allowed.setdefault(cause.part, []).extend(state - first for state in cause.states)
    return allowed
