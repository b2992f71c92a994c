"""What would be known after something was done and turned out in some way.

The supposed results become part of the case, and everything is inferred again: nothing about
what comes after an outcome is approximated.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.evidence import Evidence
from diagnose.observations.case import Case
from diagnose.observations.events import Reading, Run
from diagnose.observations.result import Result
from diagnose.planner.bleeding import bleed_after
from diagnose.planner.candidates import Candidate, Outcome
from diagnose.planner.question_outcomes import history_of, with_answer
from diagnose.rules.finding import FactValue, RuleFinding

SUPPOSED = "supposed"
"""The rule that supposed findings name."""


def what_if(ranking: Ranking, candidate: Candidate, outcome: Outcome) -> Ranking:
    """The ranking as it would be after a candidate turned out in one of its ways.

    New runs are supposed to be made under good circumstances.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = plan(load_machine("mounted-6"), told)
    >>> by_id = {act.id: act for act, _ in found.problem.tests}
    >>> coil = by_id["coil-resistance@row-6/valve"]
    >>> [what_if(found.ranking, coil, outcome).causes[0].id for outcome in coil.outcomes[:2]]
    ['row-6/valve:coil_open', 'row-6/valve:coil_shorted']
    """
    evidence = ranking.evidence
    if candidate.kind in ("measure", "look"):
        place = candidate.outcomes.index(outcome)
        return _with_reading(evidence, candidate, place)
    if candidate.kind == "ask" and not candidate.ladder:
        return _with_history(evidence, candidate, candidate.outcomes.index(outcome))
    if candidate.kind == "ask":
        return _with_answer(evidence, candidate, outcome)
    case = evidence.case
    if candidate.work is not None:
        case = replace(case, work=(*case.work, candidate.work))
        case = _bled(evidence, case, candidate)
    return with_run(evidence, case, candidate.check, outcome.event)


def _bled(evidence: Evidence, case: Case, candidate: Candidate) -> Case:
    """The case with the bleed that follows work which let air in; nobody knows yet how it went."""
    assert candidate.work is not None
    bleed = bleed_after(evidence, candidate.work, candidate.check)
    if bleed is None:
        return case
    every = range(1, evidence.model.machine.rows + 1)
    results = tuple(Result.UNSURE if row in bleed.rows else Result.NOT_RUN for row in every)
    return case.then(Run(0, bleed.check, results))


def with_run(evidence: Evidence, case: Case, check: str, event: Mapping[str, bool]) -> Ranking:
    """The ranking after one more run of a check in the present epoch of ``case``.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> evidence = rank(load_machine("mounted-6"), told).evidence
    >>> again = {"response@5": False, "response@6": True}
    >>> [run.pattern for run in with_run(evidence, told, "response", again).evidence.case.runs]
    ['PPPPPF', '....PF']
    """
    failing = {int(name.rpartition("@")[2]): fails for name, fails in event.items()}
    results = tuple(
        Result.NOT_RUN if row not in failing else Result.FAIL if failing[row] else Result.PASS
        for row in range(1, evidence.model.machine.rows + 1)
    )
    run = Run(len(case.runs) + 1, check, results, {}, len(case.work))
    findings = [*evidence.findings, *_good(evidence, run)]
    return Ranking(Evidence(evidence.model, replace(case, runs=(*case.runs, run)), tuple(findings)))


def answer_chances(ranking: Ranking, candidate: Candidate) -> list[float]:
    """How probable each answer to a question is, by Bayes' rule over all of them.

    While nothing was checked, an answer is as likely as it is of any planter.

    >>> from diagnose import load_machine, rank, read_typed
    >>> found = rank(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), []))
    >>> mice = Candidate("ask:rodents", "ask", "", (), 1.0, (Outcome("no", {}), Outcome("yes", {})))
    >>> [round(each, 6) for each in answer_chances(found, mice)]
    [0.95, 0.05]
    """
    if candidate.ladder:
        bad = float(ranking.posterior.flat[candidate.ladder[0].entries[0]].sum())
        return [bad, 1 - bad]
    circumstance = ranking.evidence.model.knowledge.circumstances[history_of(candidate)]
    weights = [
        state.prior_for("any") * _change(ranking, what_if(ranking, candidate, outcome))
        for state, outcome in zip(circumstance.states, candidate.outcomes, strict=True)
    ]
    return [weight / sum(weights) for weight in weights]


def _change(before: Ranking, after: Ranking) -> float:
    return float(np.exp(after.posterior.log_evidence - before.posterior.log_evidence))


def chance(before: Ranking, after: Ranking) -> float:
    """The probability of the results that were supposed.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> ways = [{"response@6": fails} for fails in (False, True)]
    >>> after = [with_run(found.evidence, told, "response", way) for way in ways]
    >>> round(sum(chance(found, each) for each in after), 6)
    1.0
    """
    return float(np.clip(_change(before, after), 0.0, 1.0))


def _good(evidence: Evidence, run: Run) -> Iterator[RuleFinding]:
    for circumstance in evidence.model.knowledge.of_scope("run").values():
        if circumstance.value != "none":
            state = circumstance.good_state(run.check).id
            yield _finding("state", run=run.index, circumstance=circumstance.id, state=state)


def _with_reading(evidence: Evidence, candidate: Candidate, place: int) -> Ranking:
    measurement = candidate.id.partition("@")[0]
    listed = evidence.measurement(candidate.part, measurement).results
    result = listed[place].id if place < len(listed) else "good"
    reading = Reading(measurement, candidate.part, result, evidence.epochs.now)
    case = replace(evidence.case, readings=(*evidence.case.readings, reading))
    found = _finding(
        "reading",
        part=candidate.part,
        measurement=measurement,
        result=result,
        nth=len(case.readings),
    )
    return Ranking(Evidence(evidence.model, case, (*evidence.findings, found)))


def _with_history(evidence: Evidence, candidate: Candidate, place: int) -> Ranking:
    name = history_of(candidate)
    answer = evidence.model.knowledge.circumstances[name].states[place].id
    return Ranking(with_answer(evidence, name, answer))


def _with_answer(evidence: Evidence, candidate: Candidate, outcome: Outcome) -> Ranking:
    kind, _, number = candidate.id.removeprefix("ask:").partition("@")
    circumstance = evidence.model.knowledge.circumstances[kind]
    run = int(number)
    check = evidence.case.runs[run - 1].check
    state = circumstance.good_state(check)
    if outcome == candidate.outcomes[0]:
        bad = [each for each in circumstance.states if each.shows.get(check)]
        state = max(bad, key=lambda each: each.prior_for(check))
    found = _finding("state", run=run, circumstance=kind, state=state.id)
    return Ranking(Evidence(evidence.model, evidence.case, (*evidence.findings, found)))


def _finding(kind: str, **values: FactValue) -> RuleFinding:
    return RuleFinding(SUPPOSED, kind, values, "", (), ())
