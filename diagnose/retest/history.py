"""Questions about the machine's past: an answer changes what was likely before the checks.

How likely an answer is beside each blame is its own chance times what it makes of the prior of
what is to blame; over all answers that is the prior while nobody has told (`ranking/history.py`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from diagnose.inference.network import Floats
from diagnose.knowledge.circumstances import Circumstance
from diagnose.observations.result import Result
from diagnose.ranking.evidence import Evidence
from diagnose.ranking.history import told_by
from diagnose.ranking.priors import known_prior
from diagnose.reasoning.finding import Finding
from diagnose.retest.candidates import Candidate, Outcome
from diagnose.retest.readings import Beliefs


def history_questions(evidence: Evidence) -> Iterator[Candidate]:
    """A question about every circumstance of the past that nobody stated and that rules heed.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = ["first-hookup=no", "rehooked=no", "washed=no", "response=PPPPPF"]
    >>> told = read_typed(load_machine("mounted-6"), told)
    >>> [act.id for act in history_questions(rank(load_machine("mounted-6"), told).evidence)][:3]
    ['ask:milky-oil', 'ask:new-harness', 'ask:parts-replaced']
    """
    if not any(run.rows_with(Result.FAIL) for run in evidence.case.runs):
        return
    for circumstance in evidence.model.knowledge.of_scope("case").values():
        asked, known = circumstance.ask, evidence.case.history
        if asked is not None and circumstance.id not in known and _heeded(evidence, circumstance):
            yield Candidate(
                id=f"ask:{circumstance.id}",
                kind="ask",
                says=f"ask: {asked.question}",
                rows=(),
                minutes=asked.minutes,
                outcomes=tuple(Outcome(state.name, {}) for state in circumstance.states),
            )


def _heeded(evidence: Evidence, circumstance: Circumstance) -> bool:
    return any(circumstance.id in past.circumstances for past in evidence.model.pasts)


def with_answer(evidence: Evidence, circumstance: str, answer: str) -> Evidence:
    """What would be known had somebody told this of the machine's past.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["first-hookup=no"])
    >>> mice = with_answer(rank(load_machine("mounted-6"), told).evidence, "rodents", "yes")
    >>> dict(mice.case.history)
    {'first-hookup': 'no', 'rodents': 'yes'}
    >>> sorted(str(one.values["part_kind"]) for one in mice.findings if told_by(one) == {"rodents"})
    ['branch', 'branch', 'bus', 'connector']
    """
    told, findings = _told(evidence, evidence.findings, circumstance, answer)
    return replace(evidence, case=replace(evidence.case, history=told), findings=findings)


def _told(
    evidence: Evidence, known: Sequence[Finding], circumstance: str, answer: str
) -> tuple[Mapping[str, str], tuple[Finding, ...]]:
    """The history with one more answer, and what the rules would make of it and of the known."""
    told = {**evidence.case.history, circumstance: answer}
    findings = [one for one in known if circumstance not in told_by(one)]
    for past in evidence.model.pasts:
        if circumstance in past.circumstances and not past.unknown(told):
            findings = [one for one in findings if not told_by(one) & {*past.circumstances}]
            findings += past.findings[tuple(told[name] for name in past.circumstances)]
    return told, tuple(findings)


def history_table(beliefs: Beliefs, candidate: Candidate) -> list[Floats]:
    """(blames + 2) joint probabilities of each answer with each blame.

    One planter in 20 has mice, which make a broken bus 5 times as likely: 5 in 24 broken ones.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=FFFFFF"])
    >>> scales = plan(load_machine("mounted-6"), told).scene.scales
    >>> asked = {act.id: act for act in history_questions(scales.ranking.evidence)}
    >>> no, yes = history_table(scales.beliefs, asked["ask:rodents"])
    >>> broken = scales.names.index("power/bus:broken")
    >>> float(round(yes[broken] / (no[broken] + yes[broken]), 3))
    0.208
    """
    evidence = beliefs.ranking.evidence
    circumstance = evidence.model.knowledge.circumstances[history_of(candidate)]
    parts = _moved(beliefs, circumstance.id)
    known = [one for one in evidence.findings if one.kind == "prior"]
    before = _prior(beliefs, evidence.case.history, known, parts)
    weights = []
    for state in circumstance.states:
        prior = _prior(beliefs, *_told(evidence, known, circumstance.id, state.id), parts)
        with np.errstate(invalid="ignore"):
            single = np.nan_to_num(prior / before, nan=1.0)
        weights.append(state.prior_for("any") * np.array([1.0, *single, 1.0, 1.0]))
    total = np.sum(weights, axis=0)
    return [weight / total * beliefs.blame for weight in weights]


def _moved(beliefs: Beliefs, circumstance: str) -> frozenset[str]:
    """The parts that may be to blame and whose priors an answer can move."""
    model = beliefs.ranking.evidence.model
    pasts = (past for past in model.pasts if circumstance in past.circumstances)
    kinds = frozenset().union(*(past.kinds for past in pasts))
    blamed = (blame.cause[0] for blame in beliefs.explained.explanations if blame.cause)
    parts = model.machine.parts
    return frozenset(part for part in blamed if part in parts and parts[part].id in kinds)


def _prior(
    beliefs: Beliefs, told: Mapping[str, str], findings: Sequence[Finding], parts: frozenset[str]
) -> Floats:
    """(blames) prior of what each single blame stands for; history moves no run's circumstances."""
    evidence = beliefs.ranking.evidence
    origins = evidence.epochs.prior(known_prior(evidence.model, told, findings, parts))
    runs = evidence.prior[len(origins) :]
    prior: Floats = np.concatenate([origins, runs])[beliefs.blamed]
    return prior


def history_of(candidate: Candidate) -> str:
    """The circumstance of the past that a question is about.

    >>> history_of(Candidate("ask:rodents", "ask", "", (), 1, ()))
    'rodents'
    """
    return candidate.id.removeprefix("ask:")
