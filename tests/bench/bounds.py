"""What even somebody who sees the faults has to spend: a lower bound of every plan's minutes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain, combinations, permutations

import numpy as np

from diagnose.knowledge.parts import ANY_SETUP
from tests.bench.acts import ByCheck, Place, Rows, Shop
from tests.bench.explicit import Faults, Floats, HiddenFault

SOUND = 0.98
"""A sound row passes more often than this."""


@dataclass(frozen=True, eq=False)
class Least:
    """Lower bounds by what is plain to see, for every set of faults.

    Somebody who sees the faults mends each, or reruns a check until it passes by luck. After work
    every row has to pass every check; a mended machine has had the rerun of its failed rows
    first, so that one check is made in two runs unless all rows had failed.
    """

    shop: Shop
    _known: dict[tuple[str, ByCheck, Rows], Floats] = field(default_factory=dict)

    def minutes(self, place: Place) -> Floats:
        """(H) least minutes from here when the faults were known."""
        key = (place.setup, place.passed, place.rows)
        if key not in self._known:
            sets = self.shop.worlds.sets
            self._known[key] = np.array([self._least(place, faults) for faults in sets])
        return self._known[key]

    def _least(self, place: Place, faults: Faults) -> float:
        last = self.shop.knowledge.rates.hand_over_minutes
        return min(last, *(self._with(place, faults, mended) for mended in _subsets(faults)))

    def _with(self, place: Place, faults: Faults, mended: Faults) -> float:
        """When some of the faults are mended and the rest passes by luck."""
        lucky = max((self._luck(place, fault) for fault in faults - mended), default=0.0)
        if not mended:
            return max(lucky, self._checking(place.setup, place.passed, ()))
        work = sum(self._mending(fault) for fault in mended)
        nothing: ByCheck = tuple(frozenset() for _ in place.passed)
        setups = tuple(sorted({self._where(fault) for fault in mended}))
        return (
            lucky + work + self._twice(place, faults) + self._checking(place.setup, nothing, setups)
        )

    def _twice(self, place: Place, faults: Faults) -> float:
        """Minutes of setting up one check twice, when some row neither failed nor can fail."""
        reached = {row for part, _ in faults for row in self.shop.machine.rows_of(part)}
        if len(reached | set(place.rows)) == self.shop.machine.rows:
            return 0.0
        return SOUND * min(made.set_up_minutes for made in self.shop.knowledge.checks.values())

    def _mending(self, fault: HiddenFault) -> float:
        """Work and parts until a remedy has worked."""
        kind, rows = self.shop.machine.parts[fault[0]], len(self.shop.machine.rows_of(fault[0]))
        price = self.shop.knowledge.rates.price_minutes
        again = min(
            c.minutes_per_row + c.set_up_minutes for c in self.shop.knowledge.checks.values()
        )
        return min(
            (
                one.minutes
                + one.minutes_per_row * rows
                + price[one.parts_price]
                + (1 - one.fixes) * again
            )
            / one.fixes
            for one in kind.remedies
            if fault[1] in {mode.id for mode in kind.cleared_by(one.id)}
        )

    def _where(self, fault: HiddenFault) -> str:
        """The set-up that every remedy of a fault wants; any when they differ."""
        kind = self.shop.machine.parts[fault[0]]
        wanted = {
            one.setup
            for one in kind.remedies
            if fault[1] in {mode.id for mode in kind.cleared_by(one.id)}
        }
        return wanted.pop() if len(wanted) == 1 else ANY_SETUP

    def _luck(self, place: Place, fault: HiddenFault) -> float:
        """Minutes of reruns until a fault that is there has passed every check once."""
        shows = self.shop.machine.parts[fault[0]].mode(fault[1]).shows
        worst = 0.0
        for check, passed in zip(self.shop.checks, place.passed, strict=True):
            made = self.shop.knowledge.checks[check]
            if set(self.shop.machine.rows_of(fault[0])) - passed and shows.get(check):
                trial = made.set_up_minutes + made.minutes_per_row
                worst = max(worst, trial / max(1 - shows[check], 1e-9))
        return worst

    def _checking(self, setup: str, passed: ByCheck, work: tuple[str, ...]) -> float:
        """The checks of the rows that have not passed, after work in some set-ups."""
        known, minutes, wanted = self.shop.knowledge, 0.0, []
        for check, rows in zip(self.shop.checks, passed, strict=True):
            missing = self.shop.machine.rows - len(rows)
            if missing:
                made = known.checks[check]
                minutes += made.set_up_minutes + made.minutes_per_row * missing
                wanted.append(made.setup)
        return minutes + min(
            self._moves(setup, (*first, *then))
            for first in permutations(one for one in work if one != ANY_SETUP)
            for then in permutations(wanted)
        )

    def _moves(self, setup: str, through: tuple[str, ...]) -> float:
        change = self.shop.knowledge.change_minutes
        return sum(change(a, b) for a, b in zip((setup, *through), through, strict=False))


def _subsets(faults: Faults) -> Iterator[Faults]:
    sizes = range(len(faults) + 1)
    return map(frozenset, chain.from_iterable(combinations(sorted(faults), n) for n in sizes))
