"""Every single fault and every pair of faults of a small machine, and what acts make of them.

Written from the knowledge alone, with plain arrays: nothing here calls the inference.
Beliefs are vectors over the sets of faults that are in the machine *now*.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import Machine
from diagnose.training.world import HiddenFault, World

Floats = NDArray[np.float64]
Faults = frozenset[HiddenFault]


@dataclass(frozen=True, eq=False)
class Worlds:
    """Some sets of at most two faults of a machine."""

    machine: Machine
    knowledge: Knowledge
    sets: tuple[Faults, ...]

    @staticmethod
    def of(machine: Machine, knowledge: Knowledge) -> Worlds:
        """All of them. Two faults come together in one part by a swap only."""
        every = [(part, m.id) for part, kind in machine.parts.items() for m in kind.modes]
        singles = (frozenset({one}) for one in every)
        pairs = map(frozenset, combinations(every, 2))
        return Worlds(machine, knowledge, (frozenset(), *singles, *pairs))

    def likely(self, belief: Floats, mass: float) -> Worlds:
        """The likeliest sets, of so much mass together, and what work can make of them."""
        order = np.argsort(-belief, kind="stable")
        enough = int(np.searchsorted(np.cumsum(belief[order]) / belief.sum(), mass)) + 1
        found = {self.sets[place] for place in order[:enough]}
        found |= {faults for one in found for faults in self._swaps(one)}
        less = {one - {fault} for one in found for fault in one} | {frozenset()}
        return Worlds(self.machine, self.knowledge, tuple(sorted(found | less, key=sorted)))

    def taken_from(self, other: Worlds, belief: Floats) -> Floats:
        """(H) what another belief holds of these sets, made to sum to 1."""
        known = dict(zip(other.sets, belief.tolist(), strict=True))
        found = np.array([known[faults] for faults in self.sets])
        return found / found.sum()

    def _swaps(self, faults: Faults) -> Iterator[Faults]:
        """What any swaps of parts with other rows could make of a set."""
        movable = {
            (part, mode)
            for part, kind in self.machine.parts.items()
            for swap in kind.swaps
            for mode in swap.moves
        }
        places = [
            [(part.replace(f"row-{self._row(part)}/", f"row-{row}/"), mode) for row in self.rows]
            if (part, mode) in movable
            else [(part, mode)]
            for part, mode in faults
        ]
        yield from (frozenset(one) for one in product(*places) if len(set(one)) == len(faults))

    @property
    def rows(self) -> range:
        return range(1, self.machine.rows + 1)

    def _row(self, part: str) -> int:
        return self.machine.rows_of(part)[0]

    @cached_property
    def number(self) -> dict[Faults, int]:
        return {faults: place for place, faults in enumerate(self.sets)}

    @cached_property
    def prior(self) -> Floats:
        """(H) each part on its own, less the sets of three and more."""
        sound = {p: 1 - sum(m.prior for m in k.modes) for p, k in self.machine.parts.items()}
        weight = np.full(len(self.sets), np.prod(list(sound.values())))
        for place, faults in enumerate(self.sets):
            for part, mode in faults:
                weight[place] *= self.machine.parts[part].mode(mode).prior / sound[part]
            weight[place] *= len({part for part, _ in faults}) == len(faults)
        return weight / weight.sum()

    @cache  # noqa: B019
    def fails(self, check: str, row: int) -> Floats:
        """(H) chance that a row fails a check."""
        leak = self.knowledge.checks[check].false_alarm
        above = set(self.machine.ancestors(row, check))
        passes = np.full(len(self.sets), 1 - leak)
        for place, faults in enumerate(self.sets):
            for part, mode in faults:
                if part in above:
                    shows = self.machine.parts[part].mode(mode).shows
                    passes[place] *= 1 - shows.get(check, 0.0)
        return 1 - passes

    @cache  # noqa: B019
    def patterns(self, check: str, rows: tuple[int, ...]) -> Floats:
        """(2^rows, H) chance of every pattern; bit k says that the kth of the rows failed."""
        chances = np.ones((1, len(self.sets)))
        for row in rows:
            fail = self.fails(check, row)
            chances = np.concatenate([chances * (1 - fail), chances * fail])
        return chances

    @cache  # noqa: B019
    def reading(self, measurement: str, part: str) -> Floats:
        """(results + 1, H) chance of each result, in their order, and of good at the end."""
        left, found = np.ones(len(self.sets)), []
        for result in self.machine.parts[part].measurement(measurement).results:
            absent = self._absent(part, result.sees, 1 - result.false_alarm)
            found.append(left * (1 - absent))
            left = left * absent
        return np.stack([*found, left])

    def _absent(self, part: str, sees: Mapping[str, float], start: float) -> Floats:
        here = {part, *self.machine.upstream(part)}
        absent = np.full(len(self.sets), start)
        for place, faults in enumerate(self.sets):
            for where, mode in faults:
                name = mode if where == part else f"{self.machine.parts[where].id}:{mode}"
                absent[place] *= 1 - (sees.get(name, 0.0) if where in here else 0.0)
        return absent

    @cache  # noqa: B019
    def mended(self, remedy: str, part: str) -> Floats:
        """(H, H) chance of each set after a remedy (row), by the set before it (column)."""
        kind = self.machine.parts[part]
        meant = {(part, mode.id) for mode in kind.cleared_by(remedy)}
        step = np.eye(len(self.sets))
        for place, faults in enumerate(self.sets):
            if faults & meant:
                step[place, place] = 1 - kind.remedy(remedy).fixes
                step[self.number[faults - meant], place] = kind.remedy(remedy).fixes
        return step

    @cache  # noqa: B019
    def swapped(self, swap: str, part: str, other: str) -> Floats:
        """(H, H) the same for a swap."""
        made = self.machine.parts[part].swap(swap)
        world = World(self.machine, self.knowledge, set(), np.random.default_rng(0))
        pairs = world._moved(made.moves, part, other)
        step = np.zeros((len(self.sets), len(self.sets)))
        for place, faults in enumerate(self.sets):
            step[self.number[frozenset(pairs.get(one, one) for one in faults)], place] = 1.0
        return step


def first_patterns(worlds: Worlds) -> dict[tuple[tuple[int, ...], ...], Floats]:
    """By failed rows of each check in a full run, the joint probability with every set (H)."""
    rows = tuple(range(1, worlds.machine.rows + 1))
    tables = [worlds.patterns(check, rows) for check in worlds.knowledge.checks]
    found = {}
    for numbers in product(range(2 ** len(rows)), repeat=len(tables)):
        joint = worlds.prior.copy()
        for table, number in zip(tables, numbers, strict=True):
            joint = joint * table[number]
        found[tuple(failing(rows, number) for number in numbers)] = joint
    return found


def failing(rows: Iterable[int], number: int) -> tuple[int, ...]:
    """The rows that failed in pattern ``number`` of `Worlds.patterns`."""
    return tuple(row for place, row in enumerate(rows) if number >> place & 1)
