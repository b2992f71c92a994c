"""Repairs in p/c order with no tests but the check that proves each."""

from __future__ import annotations

from diagnose.decision.lookahead import Act
from diagnose.decision.repair_order import repair_order
from diagnose.planner.candidates import Candidate
from diagnose.planner.decide import candidate_of
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.tried import tried_enough
from tests.bench.planner import deciding


def first_repair(problem: TroubleshootingProblem) -> Candidate | None:
    """The first repair in p/c order, or None when handing over is cheaper or enough was tried."""
    if tried_enough(problem.evidence, problem.group.rows):
        return None
    order = repair_order(problem.finite, problem.finite.prior, problem.setup).order
    return candidate_of(problem, Act("repair", order[0])) if order else None


in_order = deciding(first_repair)
"""Repair in p/c order until the check passes."""
