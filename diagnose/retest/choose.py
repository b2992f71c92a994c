"""Which candidate tells most about the leading causes per minute.

The question is who is to blame for one failed row, the *target*: chance alone, one single
cause, or several together. That is a complete partition, so the information of a test about
it is ordinary mutual information. Where outcomes are lumped together ("anything else"), the
bits are those of the outcomes as they are told, a lower bound for the finer ones.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.cases.case import Result
from diagnose.cases.rows import failed_rows
from diagnose.noisyor.network import PRESENT, Floats
from diagnose.noisyor.outlook import Outlook
from diagnose.ranking.causes import Ranking
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
from diagnose.retest.readings import Beliefs, exact, told

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
    weigh = _Scales(ranking, target)
    candidates = [
        *reruns(evidence, target.row),
        *measurements(evidence, target.row),
        *questions(evidence),
    ]
    proposals = sorted(map(weigh.proposal, candidates), key=lambda proposal: -score(proposal))
    needed = required_rerun(evidence)
    if needed is None:
        return proposals
    first = replace(weigh.proposal(needed), required=True)
    return [first, *(p for p in proposals if p.candidate.id != needed.id)]


def exactly(ranking: Ranking, proposal: Proposal) -> Proposal:
    """The same proposal with the exact probability of each outcome of a reading.

    A rerun's are exact already; see `readings` for what a reading's leave open.
    """
    candidate = proposal.candidate
    if not candidate.ladder:
        return proposal
    labels = [outcome.result for outcome in candidate.outcomes]
    known = dict(zip(labels, exact(ranking, candidate.ladder), strict=True))
    prospects = [replace(one, probability=known[one.result]) for one in proposal.prospects]
    prospects.sort(key=lambda prospect: -prospect.probability)
    return replace(proposal, prospects=tuple(prospects))


def choose_target(ranking: Ranking) -> Seen | None:
    """The failure to be blamed: of the failed rows' last failures, the least settled one.

    A failure is settled as far as one cause that can make it is probable.
    """
    evidence = ranking.evidence
    rows = failed_rows(evidence.case)
    last = {
        seen.row: seen for seen in evidence.results if seen.outcome == PRESENT and seen.row in rows
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


class _Scales:
    """Weighs candidates for one target."""

    def __init__(self, ranking: Ranking, target: Seen) -> None:
        evidence = ranking.evidence
        again = open_reruns(evidence, evidence.model.knowledge.checks)
        network = evidence.network_of([*evidence.observed, *again])
        self.outlook = Outlook(network, target.name, ranking.posterior.flat)
        self.beliefs = Beliefs(ranking, self.outlook)
        self.names = _names(ranking, self.outlook)
        self.circumstances = _rerun_circumstances(evidence)

    def proposal(self, candidate: Candidate) -> Proposal:
        """A candidate with the bits it is worth and what its outcomes would mean."""
        labels = [outcome.result for outcome in candidate.outcomes]
        if candidate.ladder:
            table = told(self.beliefs, candidate.ladder)
        else:
            table = list(self._rerun([outcome.event for outcome in candidate.outcomes]))
            rest = np.maximum(self.outlook.blame - sum(table), 0.0)
            if rest.sum() > RARE:
                table.append(rest)
                labels.append("anything else")
        pairs = sorted(zip(labels, table, strict=True), key=lambda pair: -pair[1].sum())
        prospects = tuple(_prospect(*pair, self.names) for pair in pairs if pair[1].sum() > RARE)
        return Proposal(candidate, mutual_information(np.stack(table)), prospects)

    def _rerun(self, events: Sequence[Mapping[str, bool]]) -> Floats:
        """(outcomes, blames + 1) joint probabilities, over the rerun's own circumstances."""
        asked = [(event, survival) for event in events for _, survival in self.circumstances]
        chances = np.array([chance for chance, _ in self.circumstances])
        joint = self.outlook.joints(asked).reshape(len(events), len(chances), -1)
        mixed: Floats = np.einsum("ecb,c->eb", joint, chances)
        return mixed


def _names(ranking: Ranking, outlook: Outlook) -> list[str]:
    """The cause that each blame stands for, with `SEVERAL` at the end."""
    evidence = ranking.evidence
    by_state = {state: cause.id for cause in ranking.causes for state in cause.states}
    first = dict(zip(evidence.variables, evidence.offsets.tolist(), strict=False))
    names = [
        by_state[first[blame.cause[0]] + blame.cause[1]] if blame.cause else CHANCE
        for blame in outlook.blames
    ]
    return [*names, SEVERAL]


def _rerun_circumstances(evidence: Evidence) -> tuple[tuple[float, float], ...]:
    """(probability, survival) of the new run's own circumstances, put right as well as can be."""
    upset = evidence.model.knowledge.circumstances.get("upset")
    spoiled = [
        (state.prior_for("response"), 1 - state.shows["response"])
        for state in (upset.states if upset else ())
        if state.shows.get("response")
    ]
    return ((1 - sum(p for p, _ in spoiled), 1.0), *spoiled)


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
    there = (joint > 0) & (apart > 0)
    return max(float((joint[there] * np.log2(joint[there] / apart[there])).sum()), 0.0)
