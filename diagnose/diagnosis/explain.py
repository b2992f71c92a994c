"""What moved a cause: the change in log-odds when one thing known is left out.

An item is a block of neighbouring rows with the same result in one run, one reading, the
stated circumstances of one run, or one finding about the machine's history.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from heapq import nlargest
from itertools import groupby
from operator import itemgetter

import numpy as np

from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.history import circumstances_behind
from diagnose.errors import OverBudget
from diagnose.inference import budget
from diagnose.inference.network import Network
from diagnose.inference.posterior import posterior
from diagnose.observations.result import Result
from diagnose.record import record
from diagnose.rules.finding import RuleFinding
from diagnose.tolerances import (
    BELIEVED,
    CLEARLY_MOVED,
    GOOD_ENOUGH_TO_EXPLAIN,
    MOST_ITEMS,
    ROUGHLY,
    STRONGLY_MOVED,
    SURE,
    UNMOVED,
)

WHY = 200e6
"""Table entries that it may take to say why: about 1 second on one core."""


@record
class _Item:
    """One thing known: what it says, and the evidence that remains without it."""

    says: str
    without: Evidence | tuple[str, ...]


@record
class Weight:
    """How one item moved one cause: log-odds with it less log-odds without it (natural log)."""

    says: str
    log_odds: float

    @property
    def words(self) -> str:
        """How strongly, in a word.

        >>> Weight("row 6 failing response", -1.3).words
        'clearly'
        """
        size = abs(self.log_odds)
        return (
            "strongly"
            if size >= STRONGLY_MOVED
            else "clearly"
            if size >= CLEARLY_MOVED
            else "slightly"
        )


@record
class Weighing:
    """Per cause id what moved it, the strongest first; and whether everything known was weighed."""

    moved: Mapping[str, tuple[Weight, ...]]
    whole: bool


def weights(ranking: Ranking, causes: Sequence[Cause]) -> Mapping[str, tuple[Weight, ...]]:
    """Per cause id what moved it, the strongest first; items that did not move it are left out.

    Cold oil would have failed every row, so five rows that pass speak against it.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> oil = [cause for cause in found.causes if cause.mode == "oil"]
    >>> [(one.says, one.log_odds > 0) for one in weights(found, oil)["circumstances/oil@1"]]
    [('row 6 failing response', True), ('rows 1–5 passing response', False)]
    """
    return weighing(ranking, causes).moved


def weighing(ranking: Ranking, causes: Sequence[Cause], most: float = np.inf) -> Weighing:
    """The same, and whether all was weighed: of too many runs only the latest can be.

    ``most`` is how many table entries it may take, if that is less than `WHY`.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> weighing(found, found.causes[:1]).whole
    True
    """
    moved: dict[str, list[Weight]] = {cause.id: [] for cause in causes}
    left = _worth_weighing(ranking.evidence)
    with suppress(OverBudget), budget.within(min(WHY, most)):
        while left:
            for cause, change in _changes(ranking, left[0], causes):
                moved[cause.id].append(Weight(left[0].says, change))
            del left[0]
    strongest = {
        id: tuple(sorted(found, key=lambda weight: -abs(weight.log_odds)))
        for id, found in moved.items()
    }
    return Weighing(strongest, not left)


def _changes(
    ranking: Ranking, item: _Item, causes: Sequence[Cause]
) -> Iterator[tuple[Cause, float]]:
    """The causes that one item moved, each with the change of its log-odds."""
    before = _probabilities(ranking, item, causes)
    for cause, probability in zip(causes, before, strict=True):
        change = _log_odds(cause.probability) - _log_odds(probability)
        if abs(change) >= UNMOVED:
            yield cause, change


def _worth_weighing(evidence: Evidence) -> list[_Item]:
    """Everything known; where that is too much, whole runs, the latest first."""
    every = list(items(evidence))
    if len(every) <= MOST_ITEMS:
        return every
    names: dict[int, list[str]] = {}
    for seen in evidence.results:
        names.setdefault(seen.run, []).append(seen.name)
    runs = [_Item(f"run {run}", tuple(names[run])) for run in sorted(names, reverse=True)]
    return [*(each for each in every if isinstance(each.without, Evidence)), *runs]


def items(evidence: Evidence) -> Iterator[_Item]:
    """Everything known that can be left out on its own.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["oil=54C", "response=PPPPFF"])
    >>> for item in items(rank(load_machine("mounted-6"), told).evidence):
    ...     print(item.says)
    rows 1–4 passing response
    rows 5–6 failing response together
    the stated circumstances of run 1
    """
    for run in evidence.case.runs:
        rows = enumerate(run.results, start=1)
        for result, block in groupby(rows, key=lambda pair: pair[1]):
            numbers = [row for row, _ in block]
            if result in (Result.PASS, Result.FAIL):
                yield _Item(
                    _block_words(numbers, result, run.check, run.index, len(evidence.case.runs)),
                    tuple(f"{run.check}@{row}#{run.index}" for row in numbers),
                )
    for finding in evidence.findings:
        if finding.kind == "reading":
            yield _Item(finding.says, _lacking(evidence, [finding]))
    history = [finding for finding in evidence.findings if finding.kind == "prior"]
    for says in dict.fromkeys(finding.says for finding in history):
        yield _Item(says, _untold(evidence, [one for one in history if one.says == says]))
    for run in evidence.case.runs:
        stated = [
            finding
            for finding in evidence.findings
            if finding.kind == "state" and finding.values["run"] == run.index
        ]
        if stated:
            yield _Item(f"the stated circumstances of run {run.index}", _lacking(evidence, stated))


def _lacking(evidence: Evidence, findings: Sequence[RuleFinding]) -> Evidence:
    kept = tuple(one for one in evidence.findings if one not in findings)
    return Evidence(evidence.model, evidence.case, kept)


def _untold(evidence: Evidence, findings: Sequence[RuleFinding]) -> Evidence:
    """The evidence had nobody told what these findings about the past go back to."""
    silent = frozenset().union(*map(circumstances_behind, findings))
    history = {name: told for name, told in evidence.case.history.items() if name not in silent}
    kept = [one for one in evidence.findings if one not in findings]
    kept = [one for one in kept if one.kind != "prior" or not circumstances_behind(one) & silent]
    return Evidence(evidence.model, replace(evidence.case, history=history), tuple(kept))


def _block_words(rows: Sequence[int], result: Result, check: str, run: int, runs: int) -> str:
    which = f"row {rows[0]}" if len(rows) == 1 else f"rows {rows[0]}–{rows[-1]}"
    verb = "failing" if result is Result.FAIL else "passing"
    together = " together" if len(rows) > 1 and result is Result.FAIL else ""
    return f"{which} {verb} {check}{together}" + (f" (run {run})" if runs > 1 else "")


def _probabilities(ranking: Ranking, item: _Item, causes: Sequence[Cause]) -> list[float]:
    if isinstance(item.without, Evidence):
        other = Ranking(item.without, GOOD_ENOUGH_TO_EXPLAIN)
        found = {cause.id: cause.probability for cause in other.causes}
        return [found.get(cause.id, cause.probability) for cause in causes]
    network = ranking.evidence.network
    gone = set(item.without)
    left_out = [f for f, name in enumerate(network.finding_names) if name in gone]
    flat = posterior(network.without(left_out), GOOD_ENOUGH_TO_EXPLAIN).flat
    return [cause.given(flat) for cause in causes]


def _log_odds(probability: float) -> float:
    clipped = min(max(probability, SURE), 1 - SURE)
    return float(np.log(clipped) - np.log1p(-clipped))


@record
class Overtaking:
    """A cause that would come first, were a group's priors moved by a factor."""

    group: str
    factor: float
    top: Cause


def fragile(ranking: Ranking, factor: float = 3.0) -> list[Overtaking]:
    """Groups whose priors, moved by ``factor`` either way, put another cause on top.

    Not one that is believed beside the first anyway: where two are there, either may lead.

    Half the rows do not bleed: oil that nobody felt, or their port? It is close.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["bleed=FFFPPP"])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> [(one.group, one.top.id) for one in fragile(found) if one.factor == 3.0]
    [('section', 'port-left/port:blocked')]
    """
    top = ranking.causes[0]
    found: list[Overtaking] = []
    for group in dict.fromkeys(cause.group for cause in ranking.causes):
        for times in (factor, 1 / factor):
            other = _top(ranking, group, times)
            if other.id != top.id and other.probability < BELIEVED:
                found.append(Overtaking(group, times, other))
    return found


def _top(ranking: Ranking, group: str, times: float) -> Cause:
    """The leading cause when the prior odds of every cause in a group are multiplied."""
    evidence = ranking.evidence
    prior = evidence.prior.copy()
    own = [cause for cause in ranking.causes if cause.group == group]
    prior[[state for one in own for state in (*one.states, *one.cured_states)]] *= times
    totals = np.add.reduceat(prior, evidence.offsets[:-1])
    prior /= np.repeat(totals, np.diff(evidence.offsets))
    network = replace(evidence.network, prior=prior)
    first, second = _best_two(ranking, network, ROUGHLY)
    # A probability is off by no more than the share left out, so only a close race is run again.
    if first[0] - second[0] <= 2 * ROUGHLY:
        first, _ = _best_two(ranking, network, GOOD_ENOUGH_TO_EXPLAIN)
    return first[1]


def _best_two(
    ranking: Ranking, network: Network, negligible: float
) -> tuple[tuple[float, Cause], tuple[float, Cause]]:
    """The two likeliest causes with their probabilities; the second may be the first again."""
    flat = posterior(network, negligible).flat.tolist()
    chances = [(cause.given(flat), cause) for cause in ranking.causes]
    best = nlargest(2, chances, key=itemgetter(0))
    return best[0], best[-1] if len(best) > 1 else (0.0, best[0][1])
