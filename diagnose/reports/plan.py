"""The plan for one case, in the form ``rowfault/plan/1``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from diagnose.planner.advice import advice, cautions_of
from diagnose.planner.candidates import Candidate
from diagnose.planner.contingent_plan import Branch, End, Plan, PlanStep
from diagnose.planner.isolating import Isolating
from diagnose.reports.forms.ranking import (
    ActReport,
    BranchReport,
    EndReport,
    ExpectedMinutes,
    InseparableReport,
    IsolatingReport,
    PlanReport,
    StepReport,
)
from diagnose.reports.ranking import SUSPECTED
from diagnose.rules.finding import RuleFinding


def build_plan_report(plan: Plan) -> PlanReport:
    """The plan as a report.

    >>> from diagnose import load_machine, plan, read_typed
    >>> machine = load_machine("mounted-6")
    >>> told = ["bleed=PPPPPP", "response=PPPPPP"]
    >>> report = build_plan_report(plan(machine, read_typed(machine, told)))
    >>> report.proven, report.tree.conclusion, report.summary
    (True, 'proven', ('bleed: PPPPPP', 'response: PPPPPP'))
    """
    evidence = plan.ranking.evidence
    choice, isolating = plan.choice, plan.isolating
    return PlanReport(
        machine=evidence.model.machine.id,
        goal=plan.goal,
        exact=choice.exact if choice else True,
        depth_reached=choice.depth if choice else 0,
        expected_minutes=ExpectedMinutes(
            repair_only=plan.repair_only_minutes,
            plan=plan.plan_minutes,
            final_pass=plan.final_minutes,
        ),
        about_rows=plan.groups[0].rows if plan.groups else (),
        other_rows=tuple(group.rows for group in plan.groups[1:]),
        tree=_tree(plan.tree, advice(plan.ranking, (), _acts(plan.tree))),
        isolating=_isolating(isolating) if isolating else None,
        inseparable=tuple(
            InseparableReport(causes=group.causes, same_remedy=group.same_remedy)
            for group in (isolating.inseparable if isolating else ())
        ),
        summary=_summary(plan),
        proven=plan.proof.holds,
        proof=plan.proof.says,
        priors=evidence.model.knowledge.priors,
    )


def plan_report(plan: Plan) -> dict[str, Any]:
    """The same as plain data, in the form ``rowfault/plan/1``, for scripts."""
    return build_plan_report(plan).plain()


def acts_in(tree: StepReport | EndReport) -> tuple[ActReport, ...]:
    """What is to be done where a tree begins: one act, or all that is left at an end."""
    return (tree.act,) if isinstance(tree, StepReport) else tree.acts


def _summary(plan: Plan) -> tuple[str, ...]:
    """What somebody should know who takes the case over: what was seen, what was done, what is
    likeliest.
    """
    case = plan.ranking.evidence.case
    told = [(run.epoch, 0, f"{run.check}: {run.pattern}") for run in case.runs]
    told += [(r.epoch, 1, f"{r.measurement} at {r.part}: {r.value}") for r in case.readings]
    told += [(epoch, 2, f"done: {work.id}") for epoch, work in enumerate(case.work)]
    likely = [cause for cause in plan.ranking.causes[:3] if cause.probability >= SUSPECTED]
    lines = [line for _, _, line in sorted(told, key=lambda each: each[:2])]
    return (*lines, *(f"{cause.says}: {100 * cause.probability:.0f} %" for cause in likely))


def _acts(node: PlanStep | End) -> Iterator[Candidate]:
    """Every act of a tree."""
    if isinstance(node, End):
        yield from node.acts
        return
    yield node.candidate
    for branch in node.branches:
        yield from _acts(branch.then)


def _tree(node: PlanStep | End, said: Sequence[RuleFinding]) -> StepReport | EndReport:
    if isinstance(node, PlanStep):
        act = _act(node.candidate, node.minutes, said)
        return StepReport(act=act, outcomes=tuple(_branch(each, said) for each in node.branches))
    leading, acts = node.leading, zip(node.acts, node.minutes, strict=True)
    return EndReport(
        conclusion=node.kind,
        says=node.says,
        leading=leading.id if leading else None,
        leading_probability=leading.probability if leading else None,
        acts=tuple(_act(act, minutes, said) for act, minutes in acts),
    )


def _branch(branch: Branch, said: Sequence[RuleFinding]) -> BranchReport:
    then = _tree(branch.then, said)
    return BranchReport(result=branch.result, probability=branch.probability, then=then)


def _act(act: Candidate, minutes: float, said: Sequence[RuleFinding]) -> ActReport:
    return ActReport(
        id=act.id,
        kind=act.kind,
        says=act.says,
        minutes=minutes,
        needs=act.needs,
        cautions=cautions_of(act, said),
    )


def _isolating(found: Isolating) -> IsolatingReport:
    return IsolatingReport(
        acts=tuple(act.id for act in found.acts),
        minutes=found.minutes,
        separates=found.separates,
        optimal=found.optimal,
        guarantee=found.guarantee,
    )
