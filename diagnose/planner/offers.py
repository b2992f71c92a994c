"""The next tests and repairs with what they are worth and what their outcomes would mean."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from diagnose.arrays import Floats
from diagnose.decision.lookahead import Goal
from diagnose.diagnosis.causes import Ranking
from diagnose.planner.candidates import Candidate
from diagnose.planner.decide import Choice, best_choice
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import Means, TroubleshootingProblem
from diagnose.planner.question_outcomes import exact
from diagnose.planner.repairs import RepairOption
from diagnose.planner.value import ELSE
from diagnose.planner.what_if import answer_chances, chance, what_if
from diagnose.record import record
from diagnose.tolerances import GOOD_ENOUGH_TO_CHOOSE, RARE

MENDED = "mended"
"""What a remedy leads to when the check passes afterwards."""


@record
class Prospect:
    """One outcome: its probability, and what would then be the leading blame for the target."""

    result: str
    probability: float
    leads_to: str
    leads_to_probability: float


@record
class Proposal:
    """Something to do with what it is worth.

    Parameters
    ----------
    bits: what its outcome tells about who is to blame for ``row``; 0 for a remedy.
    minutes: of the work and of the change of set-up before it.
    expected: minutes until the trouble is over when it is done first and the best thing after
        it; None when it was not weighed so.
    """

    candidate: Candidate
    row: int
    bits: float
    minutes: float
    expected: float | None
    prospects: tuple[Prospect, ...] = ()
    required: bool = False

    @property
    def per_minute(self) -> float:
        """Bits per minute.

        >>> bled = Candidate("bleed@6", "rerun", "", (6,), 4.5, ())
        >>> Proposal(bled, row=6, bits=0.9, minutes=4.5, expected=None).per_minute
        0.2
        """
        return self.bits / max(self.minutes, 0.1)


def next_tests(
    ranking: Ranking, goal: Goal = "restore", means: Means | None = None
) -> list[Proposal]:
    """What can be done about the first fault group, best first; empty when no row failed.

    ``restore`` puts first what leads to a sound machine in the fewest expected minutes,
    ``isolate`` what tells most per minute.

    A run without an engine says next to nothing, so it is made again first.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=FFFFFF", "engine=off"])
    >>> first = next_tests(rank(load_machine("mounted-6"), told))[0]
    >>> first.required, first.candidate.says
    (True, 'start the engine; then rerun response on rows 1–6')
    """
    found = fault_groups(ranking)
    return (
        proposals(TroubleshootingProblem(ranking, found[0], means or Means()), goal)
        if found
        else []
    )


def proposals(problem: TroubleshootingProblem, goal: Goal) -> list[Proposal]:
    """Everything that can be done about a fault group, best first."""
    choice = best_choice(problem, goal)
    return list(_proposals(problem, choice, goal))


def _proposals(problem: TroubleshootingProblem, choice: Choice, goal: Goal) -> Iterator[Proposal]:
    weighed = {candidate.id: known for candidate, known in problem.tests}
    names = list(dict.fromkeys(problem.information.names))
    alike = np.array(
        [[one == name for name in names] for one in problem.information.names], dtype=float
    )
    repairs = {repair.candidate.id: repair for repair in problem.repairs if repair.candidate}
    for place, offer in enumerate(choice.offers):
        candidate = offer.candidate
        known = weighed.get(candidate.id)
        yield Proposal(
            candidate,
            problem.group.target.row,
            known.bits if known else 0.0,
            offer.minutes,
            offer.value if goal == "restore" else None,
            _prospects(known.labels, known.table @ alike, names)
            if known
            else _after_repair(problem, repairs[candidate.id])
            if candidate.id in repairs
            else (),
            required=choice.required and place == 0,
        )


def _prospects(labels: Sequence[str], table: Floats, names: Sequence[str]) -> tuple[Prospect, ...]:
    """Outcomes, the likeliest first, from (outcomes, names) joint probabilities."""
    total, leading = table.sum(axis=1), table.argmax(axis=1)
    order = [k for k in np.argsort(-total, kind="stable").tolist() if total[k] > RARE]
    return tuple(
        Prospect(labels[k], p := float(total[k]), names[name], float(table[k, name]) / p)
        for k, name in zip(order, leading[order].tolist(), strict=True)
    )


def _after_repair(problem: TroubleshootingProblem, repair: RepairOption) -> tuple[Prospect, ...]:
    """Whether the check passes after a remedy, as far as the blame says."""
    blame = problem.information.blame
    left = blame * (1 - repair.fixes)
    works = 1 - float(left.sum() / blame.sum())
    name = problem.information.names[int(left.argmax())]
    leading = float(left.max() / max(left.sum(), 1e-300))
    pair = (
        Prospect("passes", works, MENDED, 1.0),
        Prospect("fails again", 1 - works, name, leading),
    )
    return tuple(sorted(pair, key=lambda prospect: -prospect.probability))


def exactly(ranking: Ranking, proposal: Proposal) -> Proposal:
    """The same proposal with the exact probability of each outcome, by inferring again.

    A rerun's are exact already; see `readings` for what a reading's leave open, and `swaps`.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> by_id = {each.candidate.id: each for each in next_tests(found)}
    >>> coil = exactly(found, by_id["coil-resistance@row-6/valve"])
    >>> coil.prospects[0].result, round(sum(each.probability for each in coil.prospects), 9)
    ('good', 1.0)
    """
    candidate = proposal.candidate
    if candidate.ladder:
        labels = [outcome.result for outcome in candidate.outcomes]
        known = dict(zip(labels, exact(ranking, candidate.ladder), strict=True))
        prospects = [replace(one, probability=known[one.result]) for one in proposal.prospects]
    elif candidate.kind == "ask":
        labels = [outcome.result for outcome in candidate.outcomes]
        known = dict(zip(labels, answer_chances(ranking, candidate), strict=True))
        prospects = [replace(one, probability=known[one.result]) for one in proposal.prospects]
    elif candidate.work is not None:
        prospects = list(_supposed(ranking, candidate, proposal.row))
    else:
        return proposal
    prospects.sort(key=lambda prospect: -prospect.probability)
    return replace(proposal, prospects=tuple(prospects))


def _supposed(ranking: Ranking, candidate: Candidate, row: int) -> Iterator[Prospect]:
    """What work and the check after it may show about a row, each outcome inferred in full."""
    left = 1.0
    for outcome in candidate.outcomes:
        after = Ranking(what_if(ranking, candidate, outcome).evidence, GOOD_ENOUGH_TO_CHOOSE)
        probability = chance(ranking, after)
        left -= probability
        if probability > RARE:
            if candidate.kind == "remedy" and not any(outcome.event.values()):
                yield Prospect(outcome.result, probability, MENDED, 1.0)
            else:
                leading = after.leading(row)
                yield Prospect(outcome.result, probability, leading.id, leading.probability)
    if left > RARE:
        leading = ranking.leading(row)
        yield Prospect(ELSE, left, leading.id, leading.probability)
