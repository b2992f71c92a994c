"""What the benches have measured, by date and commit, and whether it has become worse.

    python -m tests.bench.results           measure what is quick; warn of what fell by a tenth
    python -m tests.bench.results --keep    the same, and add a line for each to RESULTS.md
    python -m tests.bench.results --keep "drill marks" 93.1 higher      a figure of a long bench

Quick figures hardly depend on the machine or on what else it does: they are processor seconds
over those of a fixed piece of work, or of importing the libraries, the least of a few turns each.
A warning fails nothing; it is for whoever made the change to say what it bought.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import astuple, dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np

from diagnose import load_machine, plan, rank, read_typed

KEPT = Path(__file__).with_name("RESULTS.md")
TURNS = 5

FALLEN = 0.1
"""What is worse by this part of what it was is told."""

LOWER, HIGHER = "lower", "higher"

TOLD = ("oil=54C", "engine=on")
"""What is known of every run."""

COMMAND = ("rank", "mounted-12", "bleed=PPPPPPPPPPPP", "response=PPPFPPPPPPPP", *TOLD)
LIBRARIES = "import numpy, networkx, pydantic, click, rich, yaml, durable.lang"


@dataclass(frozen=True)
class Result:
    """A figure as it was measured: its name, value, which way is better, day and commit."""

    figure: str
    value: float
    better: str
    date: str
    commit: str

    @property
    def line(self) -> str:
        """Its line of the table.

        >>> Result("plan", 12.3456, "lower", "2026-12-01", "663a90e").line
        '| plan | 12.3 | lower | 2026-12-01 | 663a90e |'
        """
        figure, value, *rest = astuple(self)
        return f"| {' | '.join([figure, f'{value:.3g}', *rest])} |"


def read_results(text: str) -> list[Result]:
    """Every line of the table.

    >>> kept = Result("plan", 12.3, "lower", "2026-12-01", "663a90e")
    >>> read_results(f"| figure | value | better | date | commit |\\n|---|\\n{kept.line}") == [kept]
    True
    """
    rows = [[cell.strip() for cell in line.strip("| \n").split("|")] for line in text.splitlines()]
    return [
        Result(figure, float(value), better, date, commit)
        for figure, value, better, date, commit in (row for row in rows if len(row) == 5)
        if better in (LOWER, HIGHER)
    ]


def fallen(now: Iterable[Result], kept: Iterable[Result]) -> list[tuple[Result, Result]]:
    """What is worse by a tenth than it was last, with what it was.

    >>> was = Result("plan", 10.0, "lower", "2026-12-01", "663a90e")
    >>> [len(fallen([Result("plan", value, "lower", "", "")], [was])) for value in (10.9, 11.1)]
    [0, 1]
    >>> marks = Result("marks", 90.0, "higher", "2026-12-01", "663a90e")
    >>> [len(fallen([Result("marks", value, "higher", "", "")], [marks])) for value in (82, 80)]
    [0, 1]
    """
    last = {one.figure: one for one in kept}
    pairs = [(one, last[one.figure]) for one in now if one.figure in last]
    return [(one, was) for one, was in pairs if _worse(one, was.value)]


def _worse(one: Result, was: float) -> bool:
    more = one.value / was - 1
    return more >= FALLEN if one.better == LOWER else -more >= FALLEN


def yardstick() -> None:
    """A fixed piece of work, of Python and of arrays."""
    counts: dict[int, int] = {}
    for number in range(60_000):
        counts[number % 97] = counts.get(number % 97, 0) + number
    some = np.linspace(0, 1, 4_000)
    for _ in range(300):
        some = np.sqrt(np.exp(-some)).cumsum() % 1


def in_yardsticks(work: Callable[[], object]) -> float:
    """Processor seconds of a piece of work, over those of the yardstick.

    >>> 0.5 < in_yardsticks(yardstick) < 2
    True
    """
    ours, fixed = [], []
    for _ in range(TURNS):
        fixed.append(_processor(yardstick))
        ours.append(_processor(work))
    return min(ours) / min(fixed)


def _processor(work: Callable[[], object]) -> float:
    began = time.process_time()
    work()
    return time.process_time() - began


def ranking_of_many_rows() -> None:
    """Rank 48 rows of which every third failed, in every run."""
    machine = load_machine("folding-48")
    told = ["bleed=" + 48 * "P", "response=" + 16 * "PPF"]
    _ = rank(machine, read_typed(machine, [*TOLD, *told])).causes


def plan_of_few_rows() -> None:
    """Plan for one failed row of twelve."""
    machine = load_machine("mounted-12")
    _ = plan(machine, read_typed(machine, [*TOLD, "response=PPPPPFPPPPPP"])).tree


def cold_command() -> float:
    """Processor seconds of a whole command, over those of importing its libraries alone."""
    python = [sys.executable, "-W", "ignore"]
    pairs = [
        (_child([*python, "-m", "diagnose", *COMMAND]), _child([*python, "-c", LIBRARIES]))
        for _ in range(TURNS)
    ]
    ours, theirs = zip(*pairs, strict=True)
    return float(min(ours) / min(theirs))


def _child(command: list[str]) -> float:
    environment = {name: value for name, value in os.environ.items() if name != NO_BYTECODE}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=environment)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


NO_BYTECODE = "PYTHONDONTWRITEBYTECODE"

QUICK: Mapping[str, Callable[[], float]] = {
    "ranking, 48 rows (yardsticks)": lambda: in_yardsticks(ranking_of_many_rows),
    "plan, 12 rows (yardsticks)": lambda: in_yardsticks(plan_of_few_rows),
    "cold command (times its imports)": cold_command,
}
"""What is measured in seconds, and how; less is better."""


def result(figure: str, value: float, better: str = LOWER) -> Result:
    """A figure that was measured just now."""
    return Result(figure, value, better, f"{datetime.now(UTC):%Y-%m-%d}", commit())


@cache
def commit() -> str:
    """The commit that is checked out."""
    asked = ["git", "-C", str(KEPT.parent), "rev-parse", "--short", "HEAD"]
    return subprocess.run(asked, capture_output=True, text=True, check=True).stdout.strip()


def main(words: list[str]) -> None:
    """Measure, compare, and keep what is to be kept."""
    keep, given = "--keep" in words, [word for word in words if word != "--keep"]
    if given:
        now = [result(given[0], float(given[1]), given[2] if given[2:] else LOWER)]
    else:
        now = [result(figure, measure()) for figure, measure in QUICK.items()]
    for one in now:
        print(one.line)
    for one, was in fallen(now, read_results(KEPT.read_text(encoding="utf-8"))):
        told = f"{one.value:.3g}, was {was.value:.3g} on {was.date} ({was.commit})"
        print(f"warning: {one.figure} fell by a tenth or more: {told}")
    if keep:
        with KEPT.open("a", encoding="utf-8") as file:
            file.writelines(f"{one.line}\n" for one in now)


if __name__ == "__main__":
    main(sys.argv[1:])
