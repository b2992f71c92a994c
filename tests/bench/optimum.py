"""The planner against the optimum of a full dynamic programme, on machines of 2 to 4 rows.

Run with ``python -m tests.bench.optimum ROWS SECONDS [DEPTH ...]``, for example ``2 60 1 2 3``:
seconds of dynamic programming for each pattern of failed rows. Patterns are those that a first
full run of every check may give, the likeliest first, until they hold 95 % of the probability of
any failure; patterns that differ by the numbers of rows only are worked out once. Minutes count
what comes after that run, the final full pass included.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from diagnose.diagnosis.model import Model
from tests.bench.acts import Rows, Shop
from tests.bench.dynamic import Optimum
from tests.bench.explicit import Floats, Worlds, first_patterns
from tests.bench.followed import RARE, Follower
from tests.bench.small import alike, small_knowledge, small_machine

HELD = 0.95
"""So much of the probability of any failure lies in the patterns that are worked out."""

LIKELY = 0.999
"""So much of a pattern's probability lies in the sets of faults that are reckoned with."""

GAP = 0.005
"""The dynamic programme ends when its bounds are so near one another."""

Pattern = tuple[Rows, ...]


@dataclass(frozen=True, eq=False)
class Start:
    """One pattern of a first full run: how probable it is among failures, and what it may mean."""

    pattern: Pattern
    share: float
    shop: Shop
    model: Model
    belief: Floats

    def optimum(self, seconds: float) -> tuple[float, float]:
        """Bounds of the least expected minutes."""
        place = self.shop.start(self.pattern)
        return Optimum(self.shop).solve(place, self.belief, GAP, seconds)

    def planner(self, depth: int, rare: float = RARE) -> tuple[float, Follower]:
        """Expected minutes of the planner."""
        follower = Follower(self.shop, self.model, depth, rare)
        return follower.minutes(self.pattern, self.belief), follower


def starts(rows: int, held: float = HELD) -> Iterator[Start]:
    """The likeliest patterns of a machine, one for all that differ by row numbers only."""
    knowledge = small_knowledge()
    with tempfile.TemporaryDirectory() as folder:
        machine = small_machine(rows, knowledge, Path(folder))
    worlds, model, orders = Worlds.of(machine, knowledge), Model(machine, knowledge), alike(machine)
    joint = {p: j for p, j in first_patterns(worlds).items() if any(p)}
    whole = sum(float(each.sum()) for each in joint.values())
    classes: dict[Pattern, float] = {}
    for pattern, each in joint.items():
        first = min(_renumbered(pattern, order) for order in orders)
        classes[first] = classes.get(first, 0.0) + float(each.sum()) / whole
    for pattern in sorted(classes, key=lambda one: -classes[one]):
        if held <= 0:
            return
        held -= classes[pattern]
        likely = worlds.likely(joint[pattern], LIKELY)
        belief = likely.taken_from(worlds, joint[pattern])
        yield Start(pattern, classes[pattern], Shop(likely), model, belief)


def _renumbered(pattern: Pattern, order: Sequence[int]) -> Pattern:
    return tuple(tuple(sorted(order[row - 1] for row in rows)) for rows in pattern)


def main(rows: int, seconds: float, depths: Sequence[int]) -> None:
    """Print a line for each pattern, and the means."""
    print(f"{rows} rows; optimum between two bounds; the planner {depths} acts ahead")
    share, sums = 0.0, [0.0] * (2 + len(depths))
    for start in starts(rows):
        begun = time.perf_counter()
        values = [*start.optimum(seconds)]
        told = ""
        for depth in depths:
            minutes, follower = start.planner(depth)
            values.append(minutes)
            told = f"cut {follower.cut:.4f}, faults left {follower.unsound:.4f}"
        share += start.share
        sums = [a + start.share * b for a, b in zip(sums, values, strict=True)]
        line = " ".join(f"{value:7.2f}" for value in values)
        spent = time.perf_counter() - begun
        print(f"{start.pattern!s:<28} {start.share:.4f} {line}  {told} ({spent:.0f} s)", flush=True)
    means = [each / share for each in sums]
    print(f"mean of {share:.3f} {' '.join(f'{each:7.2f}' for each in means)}")
    for depth, mine in zip(depths, means[2:], strict=True):
        print(f"depth {depth}: {mine / means[1]:.3f} to {mine / means[0]:.3f} of the optimum")


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]), [int(depth) for depth in sys.argv[3:] or ["2"]])
