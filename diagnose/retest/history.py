"""Questions about the machine's past: an answer changes what was likely before the checks.

Each answer is tried on the rules alone; the factors that they give priors say how likely it is
beside each blame, as the answer's own prior times the factor of what is to blame.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from diagnose.cases.case import Case, Result
from diagnose.knowledge.circumstances import Circumstance
from diagnose.noisyor.network import Floats
from diagnose.ranking.evidence import Evidence
from diagnose.ranking.model import Model
from diagnose.reasoning.conclude import conclude_case
from diagnose.reasoning.finding import Finding
from diagnose.retest.candidates import Candidate, Outcome
from diagnose.retest.readings import Beliefs


def history_questions(evidence: Evidence) -> Iterator[Candidate]:
    """A question about every circumstance of the past that nobody stated and that rules heed."""
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
    return any(priors_if(evidence, circumstance.id, state.id) for state in circumstance.states)


def priors_if(evidence: Evidence, circumstance: str, answer: str) -> tuple[Finding, ...]:
    """What the rules make of an answer about the machine's past, as far as it moves priors."""
    model = evidence.model
    if not model.answers:
        model.answers.update(_every_answer(model))
    return model.answers.get((circumstance, answer), ())


def _every_answer(model: Model) -> dict[tuple[str, str], tuple[Finding, ...]]:
    """By circumstance and answer, the priors that move because of it alone.

    Many answers are tried at a time, and a finding says which of them it goes back to; what
    nothing came of is tried once more alone, since another answer may have stood in its way.
    """
    past = list(model.knowledge.of_scope("case").values())
    found: dict[tuple[str, str], tuple[Finding, ...]] = {}
    for place in range(max((len(each.states) for each in past), default=0)):
        told = {each.id: each.states[place].id for each in past if place < len(each.states)}
        _gather(model, told, found)
    heeded = {circumstance for circumstance, _ in found}
    for each in past:
        for state in each.states if each.id not in heeded else ():
            _gather(model, {each.id: state.id}, found)
    return found or {("", ""): ()}


def _gather(
    model: Model, told: Mapping[str, str], found: dict[tuple[str, str], tuple[Finding, ...]]
) -> None:
    """Add the priors that move because of just one of these answers."""
    case = Case(model.machine.id, history=told)
    for finding in conclude_case(model.machine, case, model.knowledge):
        roots = {
            (str(fact.values["circumstance"]), str(fact.values["answer"]))
            for fact in finding.roots()
            if fact.kind == "history"
        }
        if finding.kind == "prior" and len(roots) == 1:
            key = roots.pop()
            found[key] = (*found.get(key, ()), finding)


def history_table(beliefs: Beliefs, candidate: Candidate) -> list[Floats]:
    """(blames + 1) joint probabilities of each answer with each blame."""
    evidence = beliefs.ranking.evidence
    circumstance = evidence.model.knowledge.circumstances[history_of(candidate)]
    weights = []
    for state in circumstance.states:
        factor = _factors(beliefs, priors_if(evidence, circumstance.id, state.id))
        weights.append(state.prior_for("any") * factor)
    total = np.sum(weights, axis=0)
    return [weight / total * beliefs.outlook.blame for weight in weights]


def history_of(candidate: Candidate) -> str:
    """The circumstance of the past that a question is about.

    >>> history_of(Candidate("ask:rodents", "ask", "", (), 1, ()))
    'rodents'
    """
    return candidate.id.removeprefix("ask:")


def _factors(beliefs: Beliefs, priors: tuple[Finding, ...]) -> Floats:
    """(blames + 1) by what the prior odds of each blame are multiplied."""
    evidence = beliefs.ranking.evidence
    tried = Evidence(evidence.model, evidence.case, priors).factors
    by_state = {evidence.epochs.state(part, mode): f for (part, mode), f in tried.items()}
    single = [by_state.get(state, 1.0) for state in beliefs.blamed.tolist()]
    return np.array([1.0, *single, 1.0])
