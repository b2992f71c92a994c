"""Which skill a move was an opportunity for, and whether it was taken.

An opportunity is judged by what was known at the moment, and counted whether or not the move was
the best: progress counts what somebody does when it matters.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

import numpy as np

from diagnose.observations.result import Result
from diagnose.observations.rows import standing_failures
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.value import mutual_information
from diagnose.training.decision_point import DecisionPoint
from diagnose.training.moves import ENDS, Move
from diagnose.training.record import Opportunity

SKILLS: Mapping[str, str] = {
    "patterns": "read patterns: work where all that failed together has something in common",
    "circumstances": "check circumstances first: ask how a doubtful run was made",
    "controls": "use neighbours as controls: rerun what failed beside what passed",
    "shared-first": "shared before single: several rows, then first what they share",
    "electric-hydraulic": "electrical against hydraulic: find the side before the part",
    "prove": "prove the repair: a full pass before anything is declared",
}
"""The skills, each with what it means."""

PLAUSIBLE = 0.02
"""A part is a fair place to work when its faults hold so much of the belief together."""

DOUBT = 0.05
"""Circumstances are worth a question when a run was spoiled with this chance."""

BOTH_SIDES = 0.2
"""So much of the blame on each side leaves open which it is."""

TELLS_SIDE = 0.05
"""Bits about the side that make a test one that finds it."""

MOSTLY = 0.5

_CIRCUMSTANCE, _UNSEEN = "circumstances/", "upset"
"""How the ids of circumstances begin, and the one that nobody can see to."""

ON_PARTS = ("read", "mend", "swap")


def opportunities(point: DecisionPoint, move: Move, number: int) -> Iterator[Opportunity]:
    """What a move was an opportunity for. A move that only shows work is one for none.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin, play
    >>> from diagnose.training.policies import decision_point_of
    >>> from diagnose.knowledge.base import load_knowledge
    >>> point = decision_point_of(play(begin(DrillName("mounted-6", 1, 7), load_knowledge()), []))
    >>> Opportunity("prove", 1, False) in opportunities(point, Move("declare", "none"), 1)
    True
    """
    if point.job.to_check is not None and move.kind == "run":
        return
    for skill, sees in SEEN.items():
        taken = sees(point, move)
        if taken is not None:
            yield Opportunity(skill, number, taken)


def _patterns(point: DecisionPoint, move: Move) -> bool | None:
    """Work on a part that the failed rows of some fault group need, and that may be at fault."""
    if move.kind not in ON_PARTS or not point.failed:
        return None
    rows = set(point.machine.rows_of(move.part))
    common = any(set(problem.group.rows) <= rows for problem in point.problems)
    causes = point.ranking.causes
    chance = sum(c.probability for c in causes if c.part == move.part)
    return common and (chance >= PLAUSIBLE or move.kind == "read")


def _circumstances(point: DecisionPoint, move: Move) -> bool | None:
    """Ask, or run again as it should be, while rows stand failed by a run that may be spoiled."""
    standing = set(standing_failures(point.view.state.case).values())
    doubts = any(
        cause.id.startswith(_CIRCUMSTANCE)
        and _UNSEEN not in cause.id
        and int(cause.id.rpartition("@")[2]) in standing
        and cause.probability >= DOUBT
        for cause in point.ranking.causes
    )
    if not doubts or move.kind in ENDS:
        return None
    return move.kind in ("ask", "run")


def _controls(point: DecisionPoint, move: Move) -> bool | None:
    """A rerun of failed rows with one that passed: made, or to be made before all else."""
    if not point.failed or len(point.failed) == point.machine.rows:
        return None
    return True if _has_control(point, move) else False if _has_control(point, point.best) else None


def _has_control(point: DecisionPoint, move: Move) -> bool:
    passed = {
        row
        for run in point.view.state.case.runs
        if run.check == move.name
        for row in run.rows_with(Result.PASS)
    }
    rows, failed = set(move.rows), set(point.failed)
    return move.kind == "run" and bool(rows & failed) and bool(rows & (passed - failed))


def _shared_first(point: DecisionPoint, move: Move) -> bool | None:
    """Rows that share most of the blame, and work on what several of them share."""
    if move.kind not in ON_PARTS:
        return None
    for problem in point.problems:
        if len(problem.group.rows) > 1 and _shared_blame(point, problem) > MOSTLY:
            return len(point.machine.rows_of(move.part)) > 1
    return None


def _shared_blame(point: DecisionPoint, problem: TroubleshootingProblem) -> float:
    causes = {cause.id: cause for cause in point.ranking.causes}
    blame = problem.information.blame / problem.information.blame.sum()
    return float(
        sum(
            share
            for name, share in zip(problem.information.names, blame, strict=True)
            if name in causes and len(causes[name].rows) > 1
        )
    )


def _sides(point: DecisionPoint, move: Move) -> bool | None:
    """Both sides are open: a test that tells them apart, and no repair yet."""
    if move.kind not in (*ON_PARTS, "run") or not point.problems:
        return None
    problem = point.problems[0]
    electric = _electric(point, problem)
    blame = problem.information.blame / problem.information.blame.sum()
    share = float(blame[electric].sum())
    if not BOTH_SIDES <= share <= 1 - BOTH_SIDES or move.kind == "run":
        return None
    for candidate, weighed in problem.tests:
        if candidate.id == move.id:
            table = weighed.table
            sides = np.stack([table[:, electric].sum(axis=1), table[:, ~electric].sum(axis=1)])
            return mutual_information(sides.T) >= TELLS_SIDE
    return False


def _electric(point: DecisionPoint, problem: TroubleshootingProblem) -> np.typing.NDArray[np.bool_]:
    """(blames + 1) whether each blame lies with an electric part or mode."""
    causes = {cause.id: cause for cause in point.ranking.causes}
    return np.array([_is_electric(point, causes.get(name)) for name in problem.information.names])


def _is_electric(point: DecisionPoint, cause: object) -> bool:
    part = getattr(cause, "part", "")
    kind = point.machine.parts.get(part)
    return kind is not None and (kind.side == "electric" or _coil(getattr(cause, "mode", "")))


def _coil(mode: str) -> bool:
    """A valve's coil is an electric part in an oil part."""
    return mode.startswith("coil")


def _prove(point: DecisionPoint, move: Move) -> bool | None:
    """No row fails any more: run what has not passed since, and declare only then."""
    if point.failed:
        return False if move.kind == "declare" else None
    if move.kind == "declare":
        return point.proof.holds
    return move.kind == "run" if not point.proof.holds else None


SEEN: Mapping[str, Callable[[DecisionPoint, Move], bool | None]] = {
    "patterns": _patterns,
    "circumstances": _circumstances,
    "controls": _controls,
    "shared-first": _shared_first,
    "electric-hydraulic": _sides,
    "prove": _prove,
}
"""By skill, who sees whether a move took it; None when it was no opportunity."""
