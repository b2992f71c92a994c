"""The whole answer to one case, in the form ``rowfault/ranking/1``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any

from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.diagnosis.explain import Weight, fragile, weighing
from diagnose.diagnosis.joint_explanation import joint_explanations
from diagnose.diagnosis.limits import sharper
from diagnose.diagnosis.model import Model
from diagnose.inference.budget import Allowance
from diagnose.observations.events import Run
from diagnose.observations.result import Result
from diagnose.planner.advice import advice, cautions_of
from diagnose.planner.fault_groups import FaultGroup, fault_groups
from diagnose.planner.offers import Proposal, Prospect, exactly, next_tests, proposals
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.verification import Proof
from diagnose.reports.forms.ranking import (
    CauseReport,
    FindingReport,
    FragileReport,
    NextReport,
    OutcomeReport,
    RankingReport,
    RemedyReport,
    RunReport,
    Standing,
    TogetherReport,
    WeightReport,
)
from diagnose.rules.finding import RuleFinding

LEAST = 0.0005
"""Causes less probable than this are not listed."""

LEADING = 5
"""How many causes are explained by what speaks for and against them."""

OTHER_GROUPS = 2
"""Of failures with a cause of their own, how many besides the first get their best act listed."""

WHOLE, EXTRAS = 750e6, 200e6
"""Table entries that a whole answer may take, about 5 seconds on one core; and of those what is
said beside the causes. What is to be done next has the first call on what the posterior left."""

WHY_OF_OLD = "what speaks for and against each cause, by the older runs"


SUSPECTED = 0.1
"""A cause this probable is named although no row failed."""


def build_ranking_report(ranking: Ranking, tests: int = 3) -> RankingReport:
    """The ranking, why, and what to do next; ``tests`` is how many next tests to list.

    >>> from diagnose import load_machine, rank, read_typed
    >>> machine = load_machine("mounted-6")
    >>> ranking = rank(machine, read_typed(machine, ["response=FFFFFF", "oil=8C"]))
    >>> likeliest = build_ranking_report(ranking, tests=0).causes[0]
    >>> likeliest.id, likeliest.remedy.minutes  # so long it takes to warm the oil
    ('circumstances/oil@1', 25.0)
    """
    evidence = ranking.evidence
    machine, case = evidence.model.machine, evidence.case
    listed = [cause for cause in ranking.causes if cause.probability >= LEAST]
    found = fault_groups(ranking)
    proof = Proof(ranking)
    acts = Allowance(max(0.0, WHOLE - ranking.entries))
    proposed = _proposed(ranking, found, tests, acts)
    extras = Allowance(min(EXTRAS, acts.entries))
    why = weighing(ranking, listed[:LEADING], acts.entries)
    proving = [] if found else list(proof.next())
    warned = advice(ranking, listed[:1], [*(each.candidate for each in proposed), *proving])
    jointly: tuple[TogetherReport, ...] = ()
    groups: Mapping[str, float] = {}
    weak: tuple[FragileReport, ...] = ()
    jointly = extras.give(partial(_together, ranking), jointly, "which causes act together")
    groups = extras.give(lambda: ranking.groups, groups, "the chances by place")
    weak = extras.give(partial(_fragile, ranking), weak, "how close the race is")
    left_out = [*acts.refused, *([] if why.whole else [WHY_OF_OLD]), *extras.refused]
    return RankingReport(
        machine=machine.id,
        rows=machine.rows,
        sections=machine.sections,
        branches=machine.branches,
        runs=tuple(_run(run, evidence.findings) for run in case.runs),
        findings=tuple(_findings((*evidence.findings, *warned))),
        causes=tuple(_cause(each, why.moved.get(each.id, ()), ranking) for each in listed),
        together=jointly,
        groups=groups,
        fragile=weak,
        left_out=tuple(dict.fromkeys(left_out)),
        next=tuple(_next(each, found, warned) for each in proposed),
        instead=() if found else _instead(ranking, proof),
        proven=proof.holds,
        put_back=tuple(each.advice for each in proof.exchanged),
        exact=ranking.posterior.exact,
        sharper=None if ranking.posterior.exact else sharper(case),
        log_evidence=ranking.posterior.log_evidence,
        priors=evidence.model.knowledge.priors,
        cautions=_cautions((*evidence.findings, *warned)),
    )


def ranking_report(ranking: Ranking, tests: int = 3) -> dict[str, Any]:
    """The same as plain data, in the form ``rowfault/ranking/1``, for scripts.

    >>> from diagnose import load_machine, rank, read_typed
    >>> machine = load_machine("mounted-6")
    >>> ranking = rank(machine, read_typed(machine, ["response=FFFFFF", "oil=8C"]))
    >>> ranking_report(ranking, tests=0)["causes"][0]["id"]
    'circumstances/oil@1'
    """
    return build_ranking_report(ranking, tests).plain()


def _proposed(
    ranking: Ranking, found: Sequence[FaultGroup], tests: int, acts: Allowance
) -> list[Proposal]:
    """What to do, as far as it can be worked out, with exact chances where they can be."""
    nothing: list[Proposal] = []
    rough = acts.give(lambda: _proposals(ranking, found, tests), nothing, "what to do next")
    return [acts.give(partial(exactly, ranking, one), one, "exact outcomes") for one in rough]


def _proposals(ranking: Ranking, found: Sequence[FaultGroup], tests: int) -> list[Proposal]:
    """The best acts for the first fault group, and the very best one for each of the next few."""
    if not found or not tests:
        return []
    first = next_tests(ranking)[:tests]
    others = (TroubleshootingProblem(ranking, group) for group in found[1 : 1 + OTHER_GROUPS])
    best = (proposals(problem, "restore")[:1] for problem in others)
    return [*first, *(proposal for one in best for proposal in one)]


def _instead(ranking: Ranking, proof: Proof) -> tuple[str, ...]:
    """What to do when no row failed, so that no test can be chosen by what it would tell."""
    leading = proof.leading
    likely = leading is not None and leading.probability >= SUSPECTED and not proof.holds
    says = [proof.says]
    if leading is not None and likely:
        says.insert(0, f"No row fails at present, yet there is reason to suspect {leading.says}")
    return (*says, *(act.says for act in proof.next()))


def _cautions(findings: Sequence[RuleFinding]) -> tuple[str, ...]:
    """Cautions about what was seen and about what is proposed, each once."""
    return tuple(dict.fromkeys(one.says for one in findings if one.kind == "caution"))


def _run(run: Run, findings: Sequence[RuleFinding]) -> RunReport:
    told = [f for f in findings if f.kind == "standing" and f.values["run"] == run.index]
    levels = {str(finding.values["standing"]) for finding in told}
    standing: Standing = "void" if "void" in levels else "weak" if "weak" in levels else "sound"
    if set(run.results) == {Result.NOT_RUN}:
        standing = "void"
    why = tuple(finding.says for finding in told)
    return RunReport(check=run.check, pattern=run.pattern, standing=standing, why=why)


def _findings(findings: Sequence[RuleFinding]) -> Iterator[FindingReport]:
    """Findings of one rule that say the same count as one, with all that they are about."""
    alike: dict[tuple[str, str, str], list[RuleFinding]] = {}
    for finding in findings:
        alike.setdefault((finding.rule, finding.kind, finding.says), []).append(finding)
    for (rule, kind, says), same in alike.items():
        yield FindingReport(
            rule=rule,
            kind=kind,
            says=says,
            about=tuple(dict.fromkeys(name for one in same for name in one.about)),
            because=tuple(dict.fromkeys(why for one in same for why in one.because)),
        )


def _cause(cause: Cause, moved: Sequence[Weight], ranking: Ranking) -> CauseReport:
    evidence, low, high = ranking.evidence, *ranking.bounds(cause)
    return CauseReport(
        id=cause.id,
        part=cause.part,
        mode=cause.mode,
        says=cause.says,
        rows=cause.rows,
        group=cause.group,
        probability=cause.probability,
        low=low,
        high=high,
        prior=cause.prior,
        for_=tuple(_weight(weight) for weight in moved if weight.log_odds > 0),
        against=tuple(_weight(weight) for weight in moved if weight.log_odds < 0),
        rules=_rules(cause, evidence.findings),
        remedy=_remedy(cause, evidence.model),
    )


def _rules(cause: Cause, findings: Sequence[RuleFinding]) -> tuple[str, ...]:
    """The rules whose findings name the cause's part, its place, or what it takes down."""
    place = cause.part.partition("/")[0]
    rows = {f"row-{row}" for row in cause.rows} if cause.group == "row" else set()
    named = {cause.part, place} | rows
    return tuple(dict.fromkeys(finding.rule for finding in findings if named & set(finding.about)))


def _weight(weight: Weight) -> WeightReport:
    return WeightReport(says=weight.says, log_odds=weight.log_odds, words=weight.words)


def _remedy(cause: Cause, model: Model) -> RemedyReport | None:
    """What is done about a cause: to a part, or to put a circumstance right before a rerun."""
    if cause.prepare is not None:
        return RemedyReport(
            id=f"prepare-{cause.mode}",
            does=cause.prepare.does,
            minutes=model.knowledge.prepare_minutes(cause.prepare),
            parts_price="none",
            needs=(),
            caution=" ".join(cause.prepare.cautions) or None,
        )
    if cause.remedy is None:
        return None
    return RemedyReport(
        id=cause.remedy.id,
        does=cause.remedy.does,
        minutes=cause.remedy.minutes_for(len(model.machine.rows_of(cause.part))),
        parts_price=cause.remedy.parts_price,
        needs=cause.remedy.needs,
        caution=cause.remedy.caution,
    )


def _together(ranking: Ranking) -> tuple[TogetherReport, ...]:
    found = joint_explanations(ranking)
    if found is None:
        return ()
    ids = tuple(cause.id for cause in found.causes)
    return (TogetherReport(causes=ids, probability=found.probability, says=found.says),)


def _fragile(ranking: Ranking) -> tuple[FragileReport, ...]:
    return tuple(
        FragileReport(group=one.group, factor=one.factor, top=one.top.id, says=one.top.says)
        for one in fragile(ranking)
    )


def _next(
    proposal: Proposal, found: Sequence[FaultGroup], warned: Sequence[RuleFinding]
) -> NextReport:
    """Something to do; its outcomes lead to the likeliest cause of its row's failure.

    Rows of one fault group are proven together: what mends the row mends them all.
    """
    candidate = proposal.candidate
    group = next(group for group in found if group.target.row == proposal.row)
    return NextReport(
        id=candidate.id,
        kind=candidate.kind,
        says=candidate.says,
        rows=candidate.rows,
        minutes=proposal.minutes,
        expected_minutes=proposal.expected,
        bits=proposal.bits,
        required=proposal.required,
        blames_row=proposal.row,
        trouble_rows=group.rows,
        needs=candidate.needs,
        cautions=cautions_of(candidate, warned),
        outcomes=tuple(map(_outcome, proposal.prospects)),
    )


def _outcome(prospect: Prospect) -> OutcomeReport:
    return OutcomeReport(
        result=prospect.result,
        probability=prospect.probability,
        leads_to=prospect.leads_to,
        leads_to_probability=prospect.leads_to_probability,
    )
