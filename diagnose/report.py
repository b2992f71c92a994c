"""The whole answer to one case as plain data, for programs and for every face.

The form is ``rowfault/ranking/1``; README.md shows it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial

from diagnose.advice import advice, cautions_of
from diagnose.cases.case import Case, Result, Run
from diagnose.errors import OverBudget
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine
from diagnose.noisyor.budget import Allowance
from diagnose.ranking.causes import Cause, Ranking
from diagnose.ranking.evidence import Evidence
from diagnose.ranking.explain import Weight, fragile, weighing
from diagnose.ranking.model import Model
from diagnose.ranking.together import together
from diagnose.reasoning.conclude import conclude_case
from diagnose.reasoning.finding import Finding
from diagnose.retest.choose import Proposal, exactly, next_tests, proposals
from diagnose.retest.plan import crowded
from diagnose.retest.proof import Proof
from diagnose.retest.scene import Scene
from diagnose.retest.targets import Trouble, troubles

SCHEMA = "rowfault/ranking/1"

LEAST = 0.0005
"""Causes less probable than this are not listed."""

LEADING = 5
"""How many causes are explained by what speaks for and against them."""

OTHER_TROUBLES = 2
"""Of failures with a cause of their own, how many besides the first get their best act listed."""

ACTS, EXTRAS = 800e6, 200e6
"""Table entries that the next acts, and what is said beside the causes, may take."""

WHY_OF_OLD = "what speaks for and against each cause, by the older runs"

SUSPECTED = 0.1
"""A cause this probable is named although no row failed."""


def rank(machine: Machine, case: Case, knowledge: Knowledge | None = None) -> Ranking:
    """What may be wrong with a machine, given what was observed.

    Raises `ImpossibleEvidence` when no combination of faults can produce the results, and
    `TooManyRuns` when failing runs multiply beyond what can be worked out.

    >>> from diagnose.cases.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-12")
    >>> rank(machine, read_typed(machine, ["response=PPPFPPPPPPPP", "oil=54C"])).causes[0].rows
    (4,)
    """
    knowledge = knowledge or load_knowledge()
    findings = conclude_case(machine, case, knowledge)
    evidence = Evidence(Model(machine, knowledge), case, findings)
    ranking = Ranking(evidence)
    try:
        _ = ranking.posterior
    except OverBudget:
        raise crowded(evidence) from None
    return ranking


def ranking_report(ranking: Ranking, tests: int = 3) -> dict[str, object]:
    """The ranking, why, and what to do next, in the form ``rowfault/ranking/1``.

    ``tests`` is how many next tests to list.

    >>> from diagnose.cases.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> ranking = rank(machine, read_typed(machine, ["response=FFFFFF", "oil=8C"]))
    >>> likeliest = ranking_report(ranking, tests=0)["causes"][0]
    >>> likeliest["id"], likeliest["remedy"]["minutes"]  # so long it takes to warm the oil
    ('circumstances/oil@1', 25.0)
    """
    evidence = ranking.evidence
    machine, case = evidence.model.machine, evidence.case
    listed = [cause for cause in ranking.causes if cause.probability >= LEAST]
    why = weighing(ranking, listed[:LEADING])
    found = troubles(ranking)
    proof = Proof(ranking)
    acts, extras = Allowance(ACTS), Allowance(EXTRAS)
    proposals = _proposed(ranking, found, tests, acts)
    proving = [] if found else list(proof.next())
    warned = advice(ranking, listed[:1], [*(each.candidate for each in proposals), *proving])
    beside = {
        name: extras.give(work, nothing, says) for name, (work, nothing, says) in _beside(ranking)
    }
    left_out = [*acts.refused, *([] if why.whole else [WHY_OF_OLD]), *extras.refused]
    return {
        "schema": SCHEMA,
        "machine": machine.id,
        "rows": machine.rows,
        "sections": {name: list(rows) for name, rows in machine.sections.items()},
        "branches": {name: list(rows) for name, rows in machine.branches.items()},
        "runs": [_run(run, evidence.findings) for run in case.runs],
        "findings": _findings((*evidence.findings, *warned)),
        "causes": [_cause(cause, why.moved.get(cause.id, ()), evidence) for cause in listed],
        **beside,
        "left_out": list(dict.fromkeys(left_out)),
        "next": [_proposal(proposal, found, warned) for proposal in proposals],
        "instead": [] if found else _instead(ranking, proof),
        "proven": proof.holds,
        "put_back": [each.advice for each in proof.exchanged],
        "log_evidence": ranking.posterior.log_evidence,
        "priors": evidence.model.knowledge.priors,
        "cautions": _cautions((*evidence.findings, *warned)),
    }


def _beside(ranking: Ranking) -> Iterator[tuple[str, tuple[Callable[[], object], object, str]]]:
    """What is told beside the causes, each with what stands for it where it takes too much."""
    yield "together", (lambda: _together(ranking), [], "which causes act together")
    yield "groups", (lambda: dict(ranking.groups), {}, "the chances by place")
    yield "fragile", (lambda: fragile(ranking), [], "how close the race is")


def _proposed(
    ranking: Ranking, found: Sequence[Trouble], tests: int, acts: Allowance
) -> list[Proposal]:
    """What to do, as far as it can be worked out, with exact chances where they can be."""
    nothing: list[Proposal] = []
    rough = acts.give(lambda: _proposals(ranking, found, tests), nothing, "what to do next")
    return [acts.give(partial(exactly, ranking, one), one, "exact outcomes") for one in rough]


def _proposals(ranking: Ranking, found: Sequence[Trouble], tests: int) -> list[Proposal]:
    """The best acts for the first trouble, and the very best one for each of the next few."""
    if not found or not tests:
        return []
    first = next_tests(ranking)[:tests]
    others = (Scene(ranking, trouble) for trouble in found[1 : 1 + OTHER_TROUBLES])
    best = (proposals(scene, "restore")[:1] for scene in others)
    return [*first, *(proposal for one in best for proposal in one)]


def _instead(ranking: Ranking, proof: Proof) -> list[str]:
    """What to do when no row failed, so that no test can be chosen by what it would tell."""
    leading = proof.leading
    likely = leading is not None and leading.probability >= SUSPECTED and not proof.holds
    says = [proof.says]
    if leading is not None and likely:
        says.insert(0, f"No row fails at present, yet there is reason to suspect {leading.says}")
    return [*says, *(act.says for act in proof.next())]


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


def _cause(cause: Cause, moved: Sequence[Weight], evidence: Evidence) -> dict[str, object]:
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
        "rules": _rules(cause, evidence.findings),
        "remedy": _remedy(cause, evidence.model),
    }


def _rules(cause: Cause, findings: Sequence[Finding]) -> list[str]:
    """The rules whose findings name the cause's part, its place, or what it takes down."""
    place = cause.part.partition("/")[0]
    rows = {f"row-{row}" for row in cause.rows} if cause.group == "row" else set()
    named = {cause.part, place} | rows
    return list(dict.fromkeys(finding.rule for finding in findings if named & set(finding.about)))


def _weight(weight: Weight) -> dict[str, object]:
    return {"says": weight.says, "log_odds": weight.log_odds, "words": weight.words}


def _remedy(cause: Cause, model: Model) -> dict[str, object] | None:
    """What is done about a cause: to a part, or to put a circumstance right before a rerun."""
    if cause.prepare is not None:
        return {
            "id": f"prepare-{cause.mode}",
            "does": cause.prepare.does,
            "minutes": model.knowledge.prepare_minutes(cause.prepare),
            "parts_price": "none",
            "needs": [],
            "caution": " ".join(cause.prepare.cautions) or None,
        }
    if cause.remedy is None:
        return None
    return {
        "id": cause.remedy.id,
        "does": cause.remedy.does,
        "minutes": cause.remedy.minutes_for(len(model.machine.rows_of(cause.part))),
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


def _proposal(
    proposal: Proposal, found: Sequence[Trouble], warned: Sequence[Finding]
) -> dict[str, object]:
    """Something to do; its outcomes lead to the likeliest cause of its row's failure.

    Rows of one trouble are proven together: what mends the row mends them all.
    """
    candidate = proposal.candidate
    trouble = next(trouble for trouble in found if trouble.target.row == proposal.row)
    return {
        "id": candidate.id,
        "kind": candidate.kind,
        "says": candidate.says,
        "rows": list(candidate.rows),
        "minutes": proposal.minutes,
        "expected_minutes": proposal.expected,
        "bits": proposal.bits,
        "required": proposal.required,
        "blames_row": proposal.row,
        "trouble_rows": list(trouble.rows),
        "needs": list(candidate.needs),
        "cautions": cautions_of(candidate, warned),
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
