"""The plan for one case as plain data, for programs and for every face.

The form is ``rowfault/plan/1``; README.md shows it.
"""

from __future__ import annotations

from collections.abc import Callable

from diagnose.advice import advice, cautions_of
from diagnose.cases.case import Case
from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import Machine
from diagnose.report import SUSPECTED, rank
from diagnose.retest.candidates import Candidate
from diagnose.retest.isolating import Isolating
from diagnose.retest.plan import Branch, End, Goal, Plan, Step
from diagnose.retest.scene import Means

SCHEMA = "rowfault/plan/1"


def plan(
    machine: Machine,
    case: Case,
    goal: Goal = "restore",
    means: Means | None = None,
    depth: int = 2,
    knowledge: Knowledge | None = None,
    progress: Callable[[int], None] | None = None,
) -> Plan:
    """What to do about a machine, given what was observed.

    Raises `ImpossibleEvidence` when no combination of faults can produce the results.

    >>> from diagnose.cases.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> found = plan(machine, read_typed(machine, ["bleed=PPPPPP", "response=PPPPPP"]))
    >>> found.tree.kind
    'proven'
    """
    ranking = rank(machine, case, knowledge)
    return Plan(ranking, goal, means or Means(), depth, progress)


def plan_report(plan: Plan) -> dict[str, object]:
    """The plan in the form ``rowfault/plan/1``.

    >>> from diagnose.cases.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> told = ["bleed=PPPPPP", "response=PPPPPP"]
    >>> report = plan_report(plan(machine, read_typed(machine, told)))
    >>> report["proven"], report["tree"]["conclusion"], report["summary"]
    (True, 'proven', ['bleed: PPPPPP', 'response: PPPPPP'])
    """
    evidence = plan.ranking.evidence
    choice, isolating = plan.choice, plan.isolating
    return {
        "schema": SCHEMA,
        "machine": evidence.model.machine.id,
        "goal": plan.goal,
        "exact": choice.exact if choice else True,
        "depth_reached": choice.depth if choice else 0,
        "expected_minutes": {
            "repair_only": plan.repair_only_minutes,
            "plan": plan.plan_minutes,
            "final_pass": plan.final_minutes,
        },
        "about_rows": list(plan.troubles[0].rows) if plan.troubles else [],
        "other_rows": [list(trouble.rows) for trouble in plan.troubles[1:]],
        "tree": _tree(plan, plan.tree),
        "isolating": _isolating(isolating) if isolating else None,
        "inseparable": [
            {"causes": list(group.causes), "same_remedy": group.same_remedy}
            for group in (isolating.inseparable if isolating else ())
        ],
        "summary": _summary(plan),
        "proven": plan.proof.holds,
        "proof": plan.proof.says,
        "priors": evidence.model.knowledge.priors,
    }


def _summary(plan: Plan) -> list[str]:
    """What somebody should know who takes the case over: what was seen, what was done, what is
    likeliest.
    """
    case = plan.ranking.evidence.case
    told = [(run.epoch, 0, f"{run.check}: {run.pattern}") for run in case.runs]
    told += [(r.epoch, 1, f"{r.measurement} at {r.part}: {r.value}") for r in case.readings]
    told += [(epoch, 2, f"done: {work.id}") for epoch, work in enumerate(case.work)]
    likely = [cause for cause in plan.ranking.causes[:3] if cause.probability >= SUSPECTED]
    lines = [line for _, _, line in sorted(told, key=lambda each: each[:2])]
    return [*lines, *(f"{cause.says}: {100 * cause.probability:.0f} %" for cause in likely)]


def _tree(plan: Plan, node: Step | End) -> dict[str, object]:
    if isinstance(node, End):
        return {
            "conclusion": node.kind,
            "says": node.says,
            "leading": node.leading.id if node.leading else None,
            "leading_probability": node.leading.probability if node.leading else None,
            "acts": [
                _act(plan, act, minutes)
                for act, minutes in zip(node.acts, node.minutes, strict=True)
            ],
        }
    return {
        "act": _act(plan, node.candidate, node.minutes),
        "outcomes": [_branch(plan, branch) for branch in node.branches],
    }


def _branch(plan: Plan, branch: Branch) -> dict[str, object]:
    return {
        "result": branch.result,
        "probability": branch.probability,
        "then": _tree(plan, branch.then),
    }


def _act(plan: Plan, act: Candidate, minutes: float) -> dict[str, object]:
    return {
        "id": act.id,
        "kind": act.kind,
        "says": act.says,
        "minutes": minutes,
        "needs": list(act.needs),
        "cautions": cautions_of(act, advice(plan.ranking, (), [act])),
    }


def _isolating(found: Isolating) -> dict[str, object]:
    return {
        "acts": [act.id for act in found.acts],
        "minutes": found.minutes,
        "separates": [list(group) for group in found.separates],
        "optimal": found.optimal,
        "guarantee": found.guarantee,
    }
