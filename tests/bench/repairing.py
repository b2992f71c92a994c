"""Repairs in p/c order with no tests but the check that proves each."""

from __future__ import annotations

from diagnose.decision.lookahead import Act
from diagnose.decision.repairs import repair_order
from diagnose.retest.next import candidate_of
from diagnose.retest.proof import Proof
from diagnose.retest.scene import Scene
from diagnose.retest.targets import troubles
from tests.bench.planner import begin, done, ran
from tests.bench.policies import MOST_STEPS
from tests.bench.world import World


def in_order(world: World) -> None:
    """Repair in p/c order until the check passes."""
    ranking = begin(world)
    for _ in range(MOST_STEPS):
        found = troubles(ranking)
        if not found:
            proof = Proof(ranking)
            if not proof.missing:
                return
            ranking = ran(ranking, world, *proof.missing[0])
            continue
        scene = Scene(ranking, found[0])
        order = repair_order(scene.problem, scene.problem.prior, scene.setup).order
        candidate = candidate_of(scene, Act("repair", order[0])) if order else None
        if candidate is None:
            break
        ranking = done(ranking, world, candidate)
    world.hand_over()
