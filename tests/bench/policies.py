"""What somebody with a failed check does: our planner, and what technicians do without it.

Every policy works on a `World` until it believes that the machine is good: a full pass of every
check after the last work. All begin with the same full run of every check.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from diagnose.training.policies import remedies, upstream, with_neighbours, worst
from diagnose.training.world import World

MOST_STEPS = 60
"""Who has not finished by then hands over."""

Patterns = dict[str, dict[int, bool]]
"""Per check, the last result of every row: whether it failed."""


@dataclass
class Shop:
    """A world, and what was seen of it so far."""

    world: World
    last: Patterns = field(default_factory=dict)
    fresh: dict[str, set[int]] = field(default_factory=dict)

    def begin(self) -> None:
        """A full run of every check."""
        for check in self.world.knowledge.checks:
            self.check(check, range(1, self.world.machine.rows + 1))

    def check(self, check: str, rows: Sequence[int] | range) -> list[int]:
        """Run a check; the rows that failed."""
        shown = self.world.run(check, rows)
        self.last.setdefault(check, {}).update(shown)
        self.fresh.setdefault(check, set()).update(r for r, fails in shown.items() if not fails)
        return [row for row, fails in shown.items() if fails]

    def repair(self, remedy: str, part: str) -> None:
        """Do a remedy; what passed before has to pass again."""
        self.world.repair(remedy, part)
        self.fresh = {}

    def failed(self) -> list[tuple[str, int]]:
        """(check, row) pairs that failed last."""
        return [(c, row) for c, seen in self.last.items() for row, fails in seen.items() if fails]

    def prove(self) -> bool:
        """A full pass of what has not passed since the last work; whether all is well."""
        every = set(range(1, self.world.machine.rows + 1))
        for check in self.world.knowledge.checks:
            left = sorted(every - self.fresh.get(check, set()))
            if left and self.check(check, left):
                return False
        return not self.failed()


Policy = Callable[[World], None]


def until_proven(world: World, work: Callable[[Shop], bool]) -> None:
    """Let ``work`` do something about the failures until everything passes; it says if it could."""
    shop = Shop(world)
    shop.begin()
    for _ in range(MOST_STEPS):
        if not shop.failed():
            if shop.prove():
                return
        elif not work(shop):
            break
    world.hand_over()


def practice(world: World) -> None:
    """Rerun the failed rows with their neighbours, then replace the row valve, then work upstream.

    Where every row of a section, branch or machine failed, nobody begins with single valves: the
    work begins at the part that all of them share. A row that fails the bleed is bled again first.
    """
    tried: set[tuple[str, str]] = set()
    rerun: list[bool] = []

    def work(shop: Shop) -> bool:
        check, rows = worst(shop.failed())
        if not rerun:
            rerun.append(True)
            shop.check(check, with_neighbours(rows, world.machine.rows))
            return True
        for remedy, part in upstream(world.machine, check, rows):
            if (remedy.id, part) not in tried:
                tried.add((remedy.id, part))
                shop.repair(remedy.id, part)
                shop.check(check, _rows_with(rows, world, part))
                return True
        return False

    until_proven(world, work)


def half_split(world: World) -> None:
    """Probe the middle of the path from tractor to row, keep the half that must hold the fault.

    Where no part near the middle can be measured, the failed rows are halved; what is left when
    nothing splits is repaired from the row upwards.
    """
    tried: set[tuple[str, str]] = set()
    probed: set[tuple[str, str]] = set()
    suspects: dict[int, list[str]] = {}

    def work(shop: Shop) -> bool:
        check, rows = worst(shop.failed())
        path = suspects.setdefault(rows[0], list(world.machine.ancestors(rows[0], check)))
        probe = _middle(world, path, probed)
        if probe is not None and len(path) > 2:
            part, measurement = probe
            probed.add(probe)
            bad = world.read(measurement, part) != "good"
            upstream = {part, *world.machine.upstream(part)}
            kept = [p for p in path if (p in upstream) == bad]
            suspects[rows[0]] = kept or path
            return True
        for remedy, part in remedies(world.machine, list(reversed(path)), tried):
            tried.add((remedy.id, part))
            shop.repair(remedy.id, part)
            shop.check(check, _rows_with(rows, world, part))
            return True
        suspects[rows[0]] = list(world.machine.ancestors(rows[0], check))
        left = list(remedies(world.machine, list(reversed(suspects[rows[0]])), tried))
        return bool(left)

    until_proven(world, work)


def _middle(
    world: World, path: Sequence[str], probed: set[tuple[str, str]]
) -> tuple[str, str] | None:
    """The measurement nearest to the middle of the path that was not made yet."""
    middle = (len(path) - 1) / 2
    offers = [
        (abs(place - middle), part, measurement.id)
        for place, part in enumerate(path)
        for measurement in world.machine.parts[part].measurements
        if measurement.kind == "measure" and (part, measurement.id) not in probed
    ]
    best = min(offers, default=None)
    return (best[1], best[2]) if best else None


def _rows_with(rows: Sequence[int], world: World, part: str) -> list[int]:
    """The failed rows that a repair of a part could have mended; all of them when none."""
    mended = [row for row in rows if row in world.machine.rows_of(part)]
    return mended or list(rows)
