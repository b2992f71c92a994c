"""Which candidate tells most about the leading causes per minute.

The question is who is to blame for one failed row, the *target*: chance alone, one single
cause, or several together. That is a complete partition, so the information of a test about
it is ordinary mutual information. Where outcomes are lumped together ("anything else"), the
bits are those of the outcomes as they are told, a lower bound for the finer ones.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.cases.case import Result
from diagnose.cases.rows import failed_rows
from diagnose.noisyor.network import PRESENT, Floats
from diagnose.noisyor.outlook import Outlook
from diagnose.ranking.causes import Cause, Ranking
from diagnose.ranking.evidence import Evidence, Seen
from diagnose.retest.candidates import (
    Candidate,
    measurements,
    open_reruns,
    preparations,
    questions,
    rerun,
    reruns,
)

CHANCE, SEVERAL = "chance", "several"
"""What may be to blame besides single causes: a false alarm, or several causes together."""

RARE = 0.001
"""Outcomes less probable than this are not listed."""


@dataclass(frozen=True)
class Prospect:
    """One outcome: its probability, and what would then be the leading blame for the target."""

    result: str
    probability: float
    leads_to: str
    leads_to_probability: float


@dataclass(frozen=True)
class Proposal:
    """A candidate with what it is worth: bits about the target's blame, and its outcomes."""

    candidate: Candidate
    bits: float
    prospects: tuple[Prospect, ...]
    required: bool = False

    @property
    def per_minute(self) -> float:
        """Bits per minute."""
        return self.bits / max(self.candidate.minutes, 0.1)


def next_tests(
    ranking: Ranking, score: Callable[[Proposal], float] = lambda proposal: proposal.per_minute
) -> list[Proposal]:
    """Every candidate with its worth, best first; empty when no row failed.

    A rerun that first puts right a circumstance known to be bad comes before everything
    else when no sound run shows the failure: see `required_rerun`.
    """
    evidence = ranking.evidence
    target = choose_target(ranking)
    if target is None:
        return []
    candidates, outlook = _outlook(evidence, target)
    names = _names(ranking, outlook)
    surprise = _rerun_circumstances(evidence)
    proposals = [
        _proposal(candidate, outlook, names, surprise if candidate.kind == "rerun" else ((1.0, 1.0),))
        for candidate in candidates
    ]
    proposals.sort(key=lambda proposal: -score(proposal))
    needed = required_rerun(evidence)
    if needed is not None:
        found = _proposal(needed, outlook, names, surprise)
        proposals = [p for p in proposals if p.candidate.id != needed.id]
        proposals.insert(0, Proposal(found.candidate, found.bits, found.prospects, required=True))
    return proposals


def choose_target(ranking: Ranking) -> Seen | None:
    """The failure to be blamed: of the failed rows' last failures, the least settled one.

    A failure is settled as far as one cause that can make it is probable.
    """
    evidence = ranking.evidence
    rows = failed_rows(evidence.case)
    last = {
        seen.row: seen
        for seen in evidence.results
        if seen.outcome == PRESENT and seen.row in rows
    }
    flat = ranking.posterior.flat
    return min(last.values(), key=lambda seen: float(flat[seen.entries[0]].max()), default=None)


def required_rerun(evidence: Evidence) -> Candidate | None:
    """The rerun that must come first: all failures come from runs known to be unsound.

    Such a run says little of the machine; what it needs is to be made again as it should be.
    """
    failing = [run for run in evidence.case.runs if run.rows_with(Result.FAIL)]
    if not failing or not all(evidence.known_bad(run) for run in failing):
        return None
    run = failing[-1]
    if not preparations(evidence, run.check):
        return None
    return rerun(evidence, run.check, run.rows_with(Result.FAIL), run.rows_with(Result.FAIL))


def _outlook(evidence: Evidence, target: Seen) -> tuple[list[Candidate], Outlook]:
    asked = [*measurements(evidence, target.row), *questions(evidence, target.site)]
    opened = {seen.name: _at(seen, target.site) for _, found in asked for seen in found}
    again = list(open_reruns(evidence, evidence.model.knowledge.checks))
    network = evidence.network_of([*evidence.observed, *again, *opened.values()])
    candidates = [*reruns(evidence, target.row), *(candidate for candidate, _ in asked)]
    return candidates, Outlook(network, target.name)


def _at(seen: Seen, site: str) -> Seen:
    """The same outcome, asked about at the target's site: everything it depends on is there."""
    return Seen(seen.name, seen.outcome, seen.leak, site, seen.entries)


def _names(ranking: Ranking, outlook: Outlook) -> list[str]:
    """The cause that each blame stands for, with `SEVERAL` at the end."""
    evidence = ranking.evidence
    by_state: dict[int, Cause] = {s: cause for cause in ranking.causes for s in cause.states}
    names = []
    for blame in outlook.blames:
        if blame.cause is None:
            names.append(_leak_name(evidence))
        else:
            variable, state = blame.cause
            v = evidence.variables.index(variable)
            names.append(by_state[int(evidence.offsets[v]) + state].id)
    return [*names, SEVERAL]


def _leak_name(evidence: Evidence) -> str:
    """A failure without any fault: a circumstance known to be bad, or chance alone."""
    for run in reversed(evidence.case.runs):
        for kind in evidence.known_bad(run):
            return f"circumstances/{kind}@{run.index}"
    return CHANCE


def _rerun_circumstances(evidence: Evidence) -> tuple[tuple[float, float], ...]:
    """(probability, survival) of the new run's own circumstances, put right as well as can be."""
    upset = evidence.model.knowledge.circumstances.get("upset")
    spoiled = [
        (state.prior_for("response"), 1 - state.shows["response"])
        for state in (upset.states if upset else ())
        if state.shows.get("response")
    ]
    return ((1 - sum(p for p, _ in spoiled), 1.0), *spoiled)


def _proposal(
    candidate: Candidate,
    outlook: Outlook,
    names: Sequence[str],
    circumstances: Sequence[tuple[float, float]],
) -> Proposal:
    told = [
        sum((p * outlook.joint(outcome.event, s) for p, s in circumstances), np.zeros(len(names)))
        for outcome in candidate.outcomes
    ]
    labels = [outcome.result for outcome in candidate.outcomes]
    rest = np.maximum(outlook.blame - sum(told), 0.0)
    if rest.sum() > RARE:
        told.append(rest)
        labels.append("anything else")
    table = np.stack(told)
    prospects = tuple(
        _prospect(label, row, names)
        for label, row in sorted(zip(labels, table, strict=True), key=lambda pair: -pair[1].sum())
        if row.sum() > RARE
    )
    return Proposal(candidate, mutual_information(table), prospects)


def _prospect(label: str, joint: Floats, names: Sequence[str]) -> Prospect:
    total: dict[str, float] = {}
    for name, weight in zip(names, joint.tolist(), strict=True):
        total[name] = total.get(name, 0.0) + weight
    leading = max(total, key=lambda name: total[name])
    probability = float(joint.sum())
    return Prospect(label, probability, leading, total[leading] / probability)


def mutual_information(joint: Floats) -> float:
    """Bits that the row of a joint table tells about its column (Shannon 1948).

    >>> mutual_information(np.array([[0.5, 0.0], [0.0, 0.5]]))
    1.0
    """
    joint = joint / joint.sum()
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    there = joint > 0
    return max(float((joint[there] * np.log2(joint[there] / apart[there])).sum()), 0.0)
