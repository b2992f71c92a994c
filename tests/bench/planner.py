"""The planner at work in a `World`: it sees only what a technician would see."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from functools import cache

from diagnose.decision.lookahead import Goal
from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.model import Model
from diagnose.errors import NoAnswer
from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.events import Remedied, Swapped
from diagnose.planner.bleeding import bleed_after
from diagnose.planner.candidates import Candidate, Outcome, rerun_name
from diagnose.planner.decide import Choice, best_choice
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.tried import tried_enough
from diagnose.planner.verification import Proof
from diagnose.planner.what_if import what_if, with_run
from diagnose.training.world import World
from tests.bench.policies import MOST_STEPS, Policy

SETTLED = 0.9
"""When only isolating, the likeliest cause is mended once it holds so much of the blame."""


@cache
def model_of(machine_id: str) -> Model:
    """The model of a shipped machine, built once."""
    from diagnose.knowledge.base import load_knowledge
    from diagnose.machine.graph import load_machine

    knowledge: Knowledge = load_knowledge()
    machine: Machine = load_machine(machine_id, knowledge)
    return Model(machine, knowledge)


def planned(goal: Goal = "restore", depth: int = 2, model: Model | None = None) -> Policy:
    """Work by the planner; ``model`` is what it believes, when that is not what ships."""

    def decide(problem: TroubleshootingProblem) -> Candidate | None:
        choice = best_choice(problem, goal, depth)
        return (isolated(problem, choice) if goal == "isolate" else choice).candidate

    return deciding(decide, model)


def deciding(
    decide: Callable[[TroubleshootingProblem], Candidate | None], model: Model | None = None
) -> Policy:
    """Work on the first trouble by what ``decide`` says, or hand over when it says nothing."""

    def work(world: World) -> None:
        ranking = begin(world, model)
        with suppress(NoAnswer):  # too many failures to be worked out: somebody else goes on
            for _ in range(MOST_STEPS):
                found, proof = fault_groups(ranking), Proof(ranking)
                if not found and proof.holds:
                    return
                act = (
                    decide(TroubleshootingProblem(ranking, found[0]))
                    if found
                    else next(proof.next(), None)
                )
                if act is None:
                    break
                ranking = done(ranking, world, act)
        world.hand_over()

    return work


def isolated(problem: TroubleshootingProblem, choice: Choice) -> Choice:
    """Test while that tells anything, then mend the likeliest: what isolating alone leads to.

    It hands over after as many remedies in vain as every other goal does.
    """
    if tried_enough(problem.evidence, problem.group.rows):
        return choice
    if problem.settled < SETTLED and choice.candidate is not None:
        return choice
    if problem.settled < 0.2:
        return best_choice(problem, "restore", depth=1)
    return _likeliest(problem)


def _likeliest(problem: TroubleshootingProblem) -> Choice:
    from diagnose.decision.lookahead import Act
    from diagnose.planner.decide import candidate_of

    blame = problem.information.blame
    best = max(
        range(len(problem.repairs)), key=lambda place: float(problem.repairs[place].fixes @ blame)
    )
    candidate = candidate_of(problem, Act("repair", best))
    return Choice(candidate, 0.0, 0.0, 0.0, False, 0, ())


def begin(world: World, model: Model | None = None) -> Ranking:
    """What is known after the full run of every check with which all policies begin.

    Nothing out of the ordinary happened to the machine before: faults are drawn from bare priors.
    """
    model = model or model_of(world.machine.id)
    past = {each.id: each.states[0].id for each in world.knowledge.of_scope("case").values()}
    ranking = Ranking(Evidence(model, Case(world.machine.id, history=past), ()))
    for check in world.knowledge.checks:
        ranking = ran(ranking, world, check, range(1, world.machine.rows + 1))
    return ranking


def ran(ranking: Ranking, world: World, check: str, rows: range | tuple[int, ...]) -> Ranking:
    """What is known after a run."""
    event = {rerun_name(check, row): fails for row, fails in world.run(check, rows).items()}
    return with_run(ranking.evidence, ranking.evidence.case, check, event)


def done(ranking: Ranking, world: World, act: Candidate) -> Ranking:
    """What is known after an act was done."""
    if act.kind in ("measure", "look"):
        result = world.read(act.id.partition("@")[0], act.part)
        listed = [
            bad.id
            for bad in world.machine.parts[act.part].measurement(act.id.partition("@")[0]).results
        ]
        place = listed.index(result) if result in listed else len(listed)
        return what_if(ranking, act, act.outcomes[place])
    if isinstance(act.work, Swapped):
        world.swap(act.work.swap, act.work.part, act.work.other)
    elif isinstance(act.work, Remedied):
        world.repair(act.work.remedy, act.work.part)
    if act.work is not None and not act.check:
        evidence = ranking.evidence
        return Ranking(replace(evidence, case=evidence.case.then(act.work)))
    bleed = bleed_after(ranking.evidence, act.work, act.check) if act.work is not None else None
    if bleed is not None:
        world.run(bleed.check, bleed.rows)
    rows = act.rows
    if act.outcomes:
        rows = tuple(int(name.rpartition("@")[2]) for name in act.outcomes[0].event)
    shown = world.run(act.check, rows)
    event = {rerun_name(act.check, row): fails for row, fails in shown.items()}
    return what_if(ranking, act, Outcome("seen", event))
