"""The whole answer to one case as plain data, for programs and for every face.

The form is ``rowfault/ranking/1``; README.md shows it.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.cases.case import Case, Result, Run
from diagnose.cases.rows import failed_rows
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine
from diagnose.ranking.causes import Cause, Ranking
from diagnose.ranking.evidence import Evidence
from diagnose.ranking.explain import Weight, fragile, weights
from diagnose.ranking.model import Model
from diagnose.ranking.together import together
from diagnose.reasoning.acts import ask_act, measure_act, remedy_act, rerun_act
from diagnose.reasoning.conclude import advise, conclude_case
from diagnose.reasoning.facts import facts_of
from diagnose.reasoning.finding import Fact, Finding
from diagnose.reasoning.loading import load_rules
from diagnose.retest.candidates import Candidate
from diagnose.retest.choose import Proposal, choose_target, exactly, next_tests

SCHEMA = "rowfault/ranking/1"

LEAST = 0.0005
"""Causes less probable than this are not listed."""

LEADING = 5
"""How many causes are explained by what speaks for and against them."""

SUSPECTED = 0.1
"""A cause this probable is named although no row failed."""


def rank(machine: Machine, case: Case, knowledge: Knowledge | None = None) -> Ranking:
    """What may be wrong with a machine, given what was observed.

    Raises `ImpossibleEvidence` when no combination of faults can produce the results.

    >>> from diagnose.cases.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-12")
    >>> rank(machine, read_typed(machine, ["response=PPPFPPPPPPPP", "oil=54C"])).causes[0].rows
    (4,)
    """
    knowledge = knowledge or load_knowledge()
    findings = conclude_case(machine, case, knowledge)
    ranking = Ranking(Evidence(Model(machine, knowledge), case, findings))
    _ = ranking.posterior
    return ranking


def ranking_report(ranking: Ranking, tests: int = 3) -> dict[str, object]:
    """The ranking, why, and what to do next, in the form ``rowfault/ranking/1``.

    ``tests`` is how many next tests to list.
    """
    evidence = ranking.evidence
    machine, case = evidence.model.machine, evidence.case
    listed = [cause for cause in ranking.causes if cause.probability >= LEAST]
    moved = weights(ranking, listed[:LEADING])
    proposals = [exactly(ranking, proposal) for proposal in next_tests(ranking)[:tests]]
    target = choose_target(ranking)
    row = target.row if target else None
    reruns = _checks_to_make(ranking)
    warned = _advice(ranking, listed[:LEADING], proposals, reruns)
    return {
        "schema": SCHEMA,
        "machine": machine.id,
        "rows": machine.rows,
        "sections": {name: list(rows) for name, rows in machine.sections.items()},
        "branches": {name: list(rows) for name, rows in machine.branches.items()},
        "runs": [_run(run, evidence.findings) for run in case.runs],
        "findings": _findings((*evidence.findings, *warned)),
        "causes": [_cause(cause, moved.get(cause.id, ()), evidence.findings) for cause in listed],
        "groups": dict(ranking.groups),
        "together": _together(ranking),
        "fragile": fragile(ranking),
        "next": [_proposal(proposal, row, warned) for proposal in proposals],
        "instead": _instead(ranking, reruns),
        "log_evidence": ranking.posterior.log_evidence,
        "priors": "shipped",
        "cautions": _cautions((*evidence.findings, *warned)),
    }


def _checks_to_make(ranking: Ranking) -> list[str]:
    """When no row failed: the checks that no sound run of every row has passed yet."""
    evidence = ranking.evidence
    runs = evidence.case.runs
    if failed_rows(evidence.case):
        return []
    proven = {
        run.check
        for run in runs
        if len(run.rows_with(Result.PASS)) == evidence.model.machine.rows
        and _run(run, evidence.findings)["standing"] == "sound"
    }
    return [name for name in evidence.model.knowledge.checks if name not in proven]


def _instead(ranking: Ranking, reruns: Sequence[str]) -> list[str]:
    """What to do when no row failed, so that no test can be chosen by what it would tell."""
    if failed_rows(ranking.evidence.case):
        return []
    leading = ranking.causes[0]
    likely = leading.probability >= SUSPECTED and leading.remedy is not None
    says = (
        [f"No row fails at present, yet there is reason to suspect {leading.says}"]
        if likely
        else []
    )
    if reruns:
        why = "a row that fails says where to look" if likely else "no row fails at present"
        says.append(f"Run {' and '.join(reruns)} on every row under good circumstances: {why}")
    elif likely:
        says.append("Every row passed: read or look again before anything is replaced")
    else:
        says.append("Every row passed every check in a sound run: nothing is left to find")
    return says


def _cautions(findings: Sequence[Finding]) -> list[str]:
    """Cautions about what was seen and about what is proposed, each once."""
    return list(dict.fromkeys(one.says for one in findings if one.kind == "caution"))


def _run(run: Run, findings: Sequence[Finding]) -> dict[str, object]:
    told = [f for f in findings if f.kind == "standing" and f.values["run"] == run.index]
    levels = {str(finding.values["standing"]) for finding in told}
    standing = next((level for level in ("void", "weak") if level in levels), "sound")
    if set(run.results) == {Result.NOT_RUN}:
        standing = "void"
    return {
        "check": run.check,
        "pattern": run.pattern,
        "standing": standing,
        "why": [finding.says for finding in told],
    }


def _findings(findings: Sequence[Finding]) -> list[dict[str, object]]:
    """Findings of one rule that say the same count as one, with all that they are about."""
    alike: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        alike.setdefault((finding.rule, finding.kind, finding.says), []).append(finding)
    return [
        {
            "rule": rule,
            "kind": kind,
            "says": says,
            "about": list(dict.fromkeys(name for one in same for name in one.about)),
            "because": list(dict.fromkeys(why for one in same for why in one.because)),
        }
        for (rule, kind, says), same in alike.items()
    ]


def _cause(cause: Cause, moved: Sequence[Weight], findings: Sequence[Finding]) -> dict[str, object]:
    return {
        "id": cause.id,
        "part": cause.part,
        "mode": cause.mode,
        "says": cause.says,
        "rows": list(cause.rows),
        "group": cause.group,
        "probability": cause.probability,
        "prior": cause.prior,
        "for": [_weight(weight) for weight in moved if weight.log_odds > 0],
        "against": [_weight(weight) for weight in moved if weight.log_odds < 0],
        "rules": _rules(cause, findings),
        "remedy": _remedy(cause),
    }


def _rules(cause: Cause, findings: Sequence[Finding]) -> list[str]:
    """The rules whose findings name the cause's part, its place, or what it takes down."""
    place = cause.part.partition("/")[0]
    rows = {f"row-{row}" for row in cause.rows} if cause.group == "row" else set()
    named = {cause.part, place} | rows
    return list(dict.fromkeys(finding.rule for finding in findings if named & set(finding.about)))


def _weight(weight: Weight) -> dict[str, object]:
    return {"says": weight.says, "log_odds": weight.log_odds, "words": weight.words}


def _remedy(cause: Cause) -> dict[str, object] | None:
    """What is done about a cause: to a part, or to put a circumstance right before a rerun."""
    if cause.prepare is not None:
        return {
            "id": f"prepare-{cause.mode}",
            "does": cause.prepare.does,
            "minutes": cause.prepare.minutes,
            "parts_price": "none",
            "needs": [],
            "caution": " ".join(cause.prepare.cautions) or None,
        }
    if cause.remedy is None:
        return None
    return {
        "id": cause.remedy.id,
        "does": cause.remedy.does,
        "minutes": cause.remedy.minutes,
        "parts_price": cause.remedy.parts_price,
        "needs": list(cause.remedy.needs),
        "caution": cause.remedy.caution,
    }


def _together(ranking: Ranking) -> list[dict[str, object]]:
    found = together(ranking)
    if found is None:
        return []
    ids = [cause.id for cause in found.causes]
    return [{"causes": ids, "probability": found.probability, "says": found.says}]


def _proposal(proposal: Proposal, row: int | None, warned: Sequence[Finding]) -> dict[str, object]:
    """A test; its outcomes lead to the likeliest cause of the failure of ``row``."""
    candidate = proposal.candidate
    cautions = [f.says for f in warned if f.kind == "caution" and candidate.id in f.about]
    return {
        "id": candidate.id,
        "kind": candidate.kind,
        "says": candidate.says,
        "rows": list(candidate.rows),
        "minutes": candidate.minutes,
        "bits": proposal.bits,
        "required": proposal.required,
        "blames_row": row,
        "needs": list(candidate.needs),
        "cautions": list(dict.fromkeys([*candidate.cautions, *cautions])),
        "outcomes": [
            {
                "result": prospect.result,
                "probability": prospect.probability,
                "leads_to": prospect.leads_to,
                "leads_to_probability": prospect.leads_to_probability,
            }
            for prospect in proposal.prospects
        ],
    }


def _advice(
    ranking: Ranking,
    causes: Sequence[Cause],
    proposals: Sequence[Proposal],
    reruns: Sequence[str],
) -> tuple[Finding, ...]:
    """What the rules say about the proposed tests, checks and leading remedies."""
    evidence = ranking.evidence
    machine, knowledge = evidence.model.machine, evidence.model.knowledge
    acts = [_act(proposal.candidate, machine) for proposal in proposals]
    acts += [rerun_act(f"{name}@1-{machine.rows}", name, machine.rows) for name in reruns]
    acts += [
        remedy_act(f"{cause.remedy.id}@{cause.part}", machine, cause.part, cause.remedy)
        for cause in causes[:1]
        if cause.remedy is not None
    ]
    facts = facts_of(machine, evidence.case, knowledge)
    return advise(acts, facts, evidence.findings, load_rules())


def _act(candidate: Candidate, machine: Machine) -> Fact:
    if candidate.kind == "rerun":
        return rerun_act(candidate.id, candidate.check, len(candidate.rows))
    if candidate.kind == "ask":
        return ask_act(candidate.id, candidate.id.removeprefix("ask:").partition("@")[0])
    measurement = machine.parts[candidate.part].measurement(candidate.id.partition("@")[0])
    return measure_act(candidate.id, machine, candidate.part, measurement)
