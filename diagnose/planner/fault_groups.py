"""Which failures are to be blamed on something, one fault group at a time.

Failed rows whose failure has one likely cause in common are one *fault group*. Its *target* is one
of their failures: whoever is to blame for it is, by and large, to blame for all of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.arrays import Floats
from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.evidence import Observation
from diagnose.record import record
from diagnose.tolerances import FAIL_TOGETHER


@record
class FaultGroup:
    """Failed rows with a common cause, and the failure among them to be blamed on something.

    ``apart`` is how likely it is that its cause is not that of the failure ``of`` a group before
    it; ``besides`` is the row of it that is likeliest to fail for another cause than its target.
    """

    target: Observation
    rows: tuple[int, ...]
    apart: float = 1.0
    of: Observation | None = None
    besides: FaultGroup | None = None


def fault_groups(ranking: Ranking) -> list[FaultGroup]:
    """The failed rows by common cause, the least settled group first; none when none failed.

    A failure is settled as far as one cause that can make it is probable.

    >>> from diagnose import load_machine, rank, read_typed
    >>> machine, both = load_machine("mounted-6"), ["bleed={0}", "response={0}"]
    >>> for pattern in ("FFFFFF", "FPPPPF"):
    ...     told = read_typed(machine, [each.format(pattern) for each in both])
    ...     print(sorted(group.rows for group in fault_groups(rank(machine, told))))
    [(1, 2, 3, 4, 5, 6)]
    [(1,), (6,)]
    """
    left = sorted(last_failures(ranking).values(), key=lambda seen: _settled(ranking, seen))
    found: list[FaultGroup] = []
    while left:
        first = left[0]
        share = _Shares(ranking, first)
        mine = [seen for seen in left if seen is first or share(seen) > FAIL_TOGETHER]
        target = _purest(ranking, mine)
        rows, shares = tuple(sorted(seen.row for seen in mine)), _Shares(ranking, target)
        before = max((each.target for each in found), key=shares, default=None)
        apart = 1 - shares(before) if before is not None else 1.0
        found.append(FaultGroup(target, rows, apart, before, _besides(ranking, target, mine)))
        left = [seen for seen in left if seen not in mine]
    return found


def _purest(ranking: Ranking, mine: Sequence[Observation]) -> Observation:
    """The first failure, or the first of its run whose row fails no other check besides.

    A row that has trouble of its own is no good witness of what is common.
    """
    failing = Counter(row for _, row in ranking.evidence.standing_failures)
    alike = (seen for seen in mine if seen.run == mine[0].run)
    return min(alike, key=lambda seen: failing[seen.row])


def last_failures(ranking: Ranking) -> Mapping[int, Observation]:
    """The last failure of every row that has not passed that check since.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPFF", "response=....PF"])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> {row: seen.name for row, seen in last_failures(found).items()}
    {6: 'response@6#2'}
    """
    evidence = ranking.evidence
    standing = {(row, run) for (_, row), run in evidence.standing_failures.items()}
    return {seen.row: seen for seen in evidence.results if (seen.row, seen.run) in standing}


def _settled(ranking: Ranking, seen: Observation) -> float:
    return float(ranking.posterior.flat[seen.entries[0]].max(initial=0.0))


def _besides(
    ranking: Ranking, target: Observation, mine: Sequence[Observation]
) -> FaultGroup | None:
    """The row of a group that is likeliest to fail for a cause that is not the target's."""
    apart = [
        FaultGroup(seen, (seen.row,), 1 - _Shares(ranking, seen)(target), target)
        for seen in mine
        if seen is not target
    ]
    return max(apart, key=lambda each: each.apart, default=None)


class _Shares:
    """How much of the blame for a target lies with causes that can make another failure too."""

    def __init__(self, ranking: Ranking, target: Observation) -> None:
        weight: Floats = np.zeros(ranking.evidence.offsets[-1])
        states = target.entries[0]
        weight[states] = ranking.posterior.flat[states]
        self.weight, self.total = weight, float(weight.sum())

    def __call__(self, other: Observation) -> float:
        shared = float(self.weight[sorted(set(other.entries[0].tolist()))].sum())
        return shared / self.total if self.total else 0.0
