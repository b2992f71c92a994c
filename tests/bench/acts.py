"""What can be done to a small machine: costs, outcomes, and where each outcome leads.

The acts are those that the planner has: reruns of failed rows, measurements, remedies and swaps
that are each followed by a rerun. Whoever has no failed row left proves the machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import ANY_SETUP
from diagnose.machine.graph import Machine
from diagnose.observations.events import Remedied, Swapped, Work
from tests.bench.explicit import Floats, Worlds, failing

Rows = tuple[int, ...]
ByCheck = tuple[frozenset[int], ...]
"""Rows, for each check in the order of the knowledge."""


@dataclass(frozen=True)
class Place:
    """Everything that is plain to see.

    Parameters
    ----------
    failed: rows that failed and have not passed since.
    passed: rows that passed since the last work.
    taken: measurements and reruns made since the last work, by the id of what was done.
    swapped: swaps that were made, as ``SWAP@PART``.
    """

    setup: str
    failed: ByCheck
    passed: ByCheck
    taken: frozenset[str] = frozenset()
    swapped: frozenset[str] = frozenset()

    @property
    def rows(self) -> Rows:
        """Rows that failed some check."""
        return tuple(sorted(frozenset().union(*self.failed)))


@dataclass(frozen=True)
class Doing:
    """A measurement, or a rerun with the work before it."""

    measurement: str = ""
    part: str = ""
    work: Work | None = None
    check: str = ""
    rows: Rows = ()

    @property
    def id(self) -> str:
        """For people."""
        if self.measurement:
            return f"{self.measurement}@{self.part}"
        rows = ",".join(map(str, self.rows))
        return f"{f'{self.work.id}, ' if self.work else ''}{self.check}@{rows}"


@dataclass(frozen=True, eq=False)
class Effect:
    """What doing something costs, and leads to.

    Parameters
    ----------
    step: (H, H) what the work makes of the sets of faults; None without work.
    chance: (outcomes, H) of each outcome, given the set after the work.
    places: where each outcome leads.
    """

    cost: float
    step: Floats | None
    chance: Floats
    places: tuple[Place, ...]

    def after(self, belief: Floats) -> Floats:
        """(outcomes, H) joint probability of each outcome and each set."""
        joint: Floats = self.chance * (belief if self.step is None else self.step @ belief)
        return joint


@dataclass(frozen=True, eq=False)
class Shop:
    """The acts of one small machine."""

    worlds: Worlds

    @property
    def machine(self) -> Machine:
        return self.worlds.machine

    @property
    def knowledge(self) -> Knowledge:
        return self.worlds.knowledge

    @property
    def checks(self) -> list[str]:
        return list(self.knowledge.checks)

    @property
    def every(self) -> Rows:
        return tuple(range(1, self.machine.rows + 1))

    def start(self, pattern: tuple[Rows, ...]) -> Place:
        """After the full run of every check, in their order."""
        failed = tuple(map(frozenset, pattern))
        passed = tuple(frozenset(self.every) - rows for rows in failed)
        return Place(self.knowledge.checks[self.checks[-1]].setup, failed, passed)

    def proof(self, place: Place) -> Doing | None:
        """What proves the machine when no failed row is left; None when it is proven."""
        for check, passed in zip(self.checks, place.passed, strict=True):
            missing = tuple(row for row in self.every if row not in passed)
            if missing:
                return Doing(check=check, rows=missing)
        return None

    def doings(self, place: Place) -> Iterator[Doing]:
        """Everything that can be done about the failed rows."""
        sets = _sets(place.rows)
        for check, passed in zip(self.checks, place.passed, strict=True):
            missing = tuple(row for row in self.every if row not in passed)
            for rows in dict.fromkeys([*sets, self.every, missing or self.every]):
                again = Doing(check=check, rows=rows)
                if again.id not in place.taken:
                    yield again
        above = {p for c in self.checks for r in place.rows for p in self.machine.ancestors(r, c)}
        for part in sorted(above):
            for made in self.machine.parts[part].measurements:
                if f"{made.id}@{part}" not in place.taken:
                    yield Doing(made.id, part)
            for remedy in self.machine.parts[part].remedies:
                yield from self._proofs(place, sets, Remedied(remedy.id, part))
        yield from self._swaps(place)

    def _proofs(self, place: Place, sets: list[Rows], work: Remedied) -> Iterator[Doing]:
        served = set(self.machine.rows_of(work.part))
        for check, failed in zip(self.checks, place.failed, strict=True):
            for rows in sets:
                if served & set(rows) and failed & set(rows):
                    yield Doing(work=work, check=check, rows=rows)

    def _swaps(self, place: Place) -> Iterator[Doing]:
        sound = [row for row in self.every if row not in place.rows]
        for part, kind in self.machine.parts.items():
            for swap in kind.swaps:
                row = self.machine.rows_of(part)[0]
                other = min(sound, key=lambda each: (abs(each - row), each), default=None)
                if row in place.rows and other and f"{swap.id}@{part}" not in place.swapped:
                    twin = part.replace(f"row-{row}/", f"row-{other}/")
                    for check, failed in zip(self.checks, place.failed, strict=True):
                        if row in failed:
                            rows = tuple(sorted((row, other)))
                            yield Doing(work=Swapped(swap.id, part, twin), check=check, rows=rows)

    def effect(self, place: Place, doing: Doing) -> Effect:
        """What doing something costs, and leads to."""
        if doing.measurement:
            made = self.machine.parts[doing.part].measurement(doing.measurement)
            cost, setup = self._minutes(place.setup, made.setup, made.minutes)
            after = replace(place, setup=setup, taken=place.taken | {doing.id})
            chance = self.worlds.reading(doing.measurement, doing.part)
            return Effect(cost, None, chance, (after,) * len(chance))
        step, cost, place = self._worked(place, doing.work)
        check = self.knowledge.checks[doing.check]
        minutes = check.set_up_minutes + check.minutes_per_row * len(doing.rows)
        more, setup = self._minutes(place.setup, check.setup, minutes)
        if doing.work is None and place.rows:
            place = replace(place, taken=place.taken | {doing.id})
        place = replace(place, setup=setup)
        chance = self.worlds.patterns(doing.check, doing.rows)
        places = tuple(self._ran(place, doing, number) for number in range(len(chance)))
        return Effect(cost + more, step, chance, places)

    def _worked(self, place: Place, work: Work | None) -> tuple[Floats | None, float, Place]:
        if work is None:
            return None, 0.0, place
        kind = self.machine.parts[work.part]
        if isinstance(work, Remedied):
            made = kind.remedy(work.remedy)
            step = self.worlds.mended(work.remedy, work.part)
            price = self.knowledge.rates.price_minutes[made.parts_price]
            labour = made.minutes + made.minutes_per_row * len(self.machine.rows_of(work.part))
            cost, setup = self._minutes(place.setup, made.setup, labour + price)
            swapped = place.swapped
        else:
            swap = kind.swap(work.swap)
            step = self.worlds.swapped(work.swap, work.part, work.other)
            cost, setup = self._minutes(place.setup, swap.setup, swap.minutes)
            swapped = place.swapped | {f"{work.swap}@{work.part}"}
        nothing: ByCheck = tuple(frozenset() for _ in place.passed)
        return (
            step,
            cost,
            replace(place, setup=setup, passed=nothing, taken=frozenset(), swapped=swapped),
        )

    def _minutes(self, before: str, wanted: str, minutes: float) -> tuple[float, str]:
        if wanted == ANY_SETUP:
            return minutes, before
        return minutes + self.knowledge.change_minutes(before, wanted), wanted

    def _ran(self, place: Place, doing: Doing, number: int) -> Place:
        bad = frozenset(failing(doing.rows, number))
        good = frozenset(doing.rows) - bad
        mine = self.checks.index(doing.check)
        failed, passed = list(place.failed), list(place.passed)
        failed[mine] = (failed[mine] | bad) - good
        passed[mine] = passed[mine] | good
        return replace(place, failed=tuple(failed), passed=tuple(passed))


def _sets(rows: Rows) -> list[Rows]:
    """Every choice of few rows; of more, each alone and all."""
    if len(rows) <= 3:
        return [s for size in range(1, len(rows) + 1) for s in combinations(rows, size)]
    return [*((row,) for row in rows), rows]
