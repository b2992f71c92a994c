"""Random valid cases, each worked out in a process of its own under limits: none may break.

Run with ``python -m tests.bench.bounded COUNT [FIRST]``; case n is the same whenever it is tried.
Cases have up to 48 rows, 40 runs and 12 pieces of work on any layout, as people make them: the
same row is rerun twenty times, patterns are random, whole, by section or alternating, something is
swapped there and back, marks are unsure, readings are taken between. Each is ranked with all that
the screen shows, and the first act of its plan is found. What comes of it is an answer or a message
that says which runs to leave out; where it names them, that is tried too.

``python -m tests.bench.bounded intervals COUNT`` holds limits of chances, found with budgets so
small that they are not exact, against enumeration on small networks, and prints how wide they are
in the hardest cases that a person may tell.

``python -m tests.bench.bounded entries`` prints processor time and memory by table entries of the
hardest cases that are allowed: what `diagnose.inference.budget` was calibrated by.
"""

from __future__ import annotations

import json
import os
import random
import resource
import statistics
import sys
import time
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.api import plan, rank
from diagnose.diagnosis.limits import without
from diagnose.errors import NoAnswer, RowfaultError, TooManyRuns
from diagnose.inference import budget, posterior
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.parts import Measurement
from diagnose.machine.graph import Machine, load_machine
from diagnose.observations.typed import read_typed
from diagnose.reports.ranking import ranking_report
from tests.inference.test_left_out import many_sites

LAYOUTS = ("mounted-6", "mounted-12", "folding-16", "folding-24", "folding-48")

MOST_RUNS, MOST_WORK = 40, 12

MEMORY, SECONDS = 1_000_000_000, 20
"""The limits of a process: address space beyond what it begins with, and processor time. What is
wanted of a case is at most 10 seconds for each of the two answers."""

GOAL, CEILING = 5.0, 10.0

VALUES = {
    "ohm": ("0.5ohm", "8ohm", "90ohm", "OL"),
    "V": ("12.1V", "10.5V", "3V", "0V"),
    "bar": ("5bar", "60bar", "180bar"),
    "code": ("none", "3", "5"),
    "choice": ("yes", "no"),
}


@dataclass(frozen=True)
class Outcome:
    """What came of a case: ``kind`` is answer, message or crash; minutes of each answer."""

    kind: str
    says: str
    rank: float = 0.0
    first: float = 0.0
    megabytes: float = 0.0


def generated(number: int) -> tuple[str, list[str]]:
    """The layout and the words of case ``number``.

    >>> machine, words = generated(3)
    >>> machine in LAYOUTS, len(words) > 0
    (True, True)
    """
    rng = random.Random(number)
    name = LAYOUTS[number % len(LAYOUTS)]
    return name, list(_told(load_machine(name), rng))


def _told(machine: Machine, rng: random.Random) -> Iterator[str]:
    runs, work = _few(rng, MOST_RUNS), _few(rng, MOST_WORK + 1) - 1
    habit = rng.choice(["same row", "same pattern", "mixed", "mixed", "settling"])
    first = _pattern(machine, rng)
    chosen = _pattern(machine, rng) if habit == "same pattern" else first
    acts = ["run"] * runs + ["work"] * work
    rng.shuffle(acts)
    swapped: list[str] = []
    for act in acts:
        if act == "work":
            yield _work(machine, rng, swapped)
            continue
        if habit == "mixed" or (habit == "settling" and rng.random() < 0.3):
            chosen = _pattern(machine, rng)
        elif habit == "same row":
            chosen = _rerun(machine, first, rng)
        check = "response" if rng.random() < 0.7 else "bleed"
        yield f"{check}={_unsure(chosen, rng)}"
        yield from _circumstances(rng)
        if rng.random() < 0.2:
            yield _reading(machine, rng)


def _few(rng: random.Random, most: int) -> int:
    """A number from 1 to the most; small ones as often as large ones."""
    return min(most, int(most ** rng.random()) + rng.randint(0, 1))


def _pattern(machine: Machine, rng: random.Random) -> str:
    rows = range(1, machine.rows + 1)
    kind = rng.choice(["one", "few", "random", "whole", "section", "branch", "alternating", "none"])
    groups = machine.branches if kind == "branch" else machine.sections
    chance = rng.random()
    failed = {
        "one": {rng.choice(rows)},
        "few": set(rng.sample(rows, min(3, machine.rows))),
        "random": {row for row in rows if rng.random() < chance},
        "whole": set(rows),
        "alternating": set(rows[:: rng.choice([2, 3])]),
        "none": set(),
    }.get(kind, set(rng.choice(list(groups.values()))))
    return "".join("F" if row in failed else "P" for row in rows)


def _rerun(machine: Machine, first: str, rng: random.Random) -> str:
    """One row of those that failed, with its neighbors perhaps."""
    failed = [row for row, letter in enumerate(first, 1) if letter == "F"] or [1]
    row, wide = failed[0], rng.choice([0, 0, 0, 1])
    near = range(row - wide, row + wide + 1)
    letters = {each: "F" if each == row and rng.random() < 0.8 else "P" for each in near}
    return "".join(letters.get(each, ".") for each in range(1, machine.rows + 1))


def _unsure(pattern: str, rng: random.Random) -> str:
    if rng.random() < 0.8:
        return pattern
    return "".join("?" if rng.random() < 0.1 else letter for letter in pattern)


def _circumstances(rng: random.Random) -> Iterator[str]:
    told = {
        "oil": ("54C", "54C", "10C"),
        "engine": ("on", "on", "off"),
        "moving": ("no",),
        "supply": ("180bar",),
        "bleed-hose": ("stowed", "stowed", "fitted"),
    }
    care = rng.random() < 0.4
    for name, values in told.items():
        if care or rng.random() < 0.2:
            yield f"{name}={rng.choice(values)}"


def _work(machine: Machine, rng: random.Random, swapped: list[str]) -> str:
    """A remedy or a swap; what was swapped goes back as often as not."""
    if swapped and rng.random() < 0.5:
        return swapped.pop()
    part = rng.choice(list(machine.parts))
    kind = machine.parts[part]
    others = [each for each in machine.of_kind[kind.id] if each != part]
    if kind.swaps and others and rng.random() < 0.7:
        other = rng.choice(others).partition("/")[0]
        swapped.append(f"{rng.choice(kind.swaps).id}@{part}={other}")
        return swapped[-1]
    if not kind.remedies:
        return _work(machine, rng, swapped)
    return f"{rng.choice(kind.remedies).id}@{part}=done"


def _reading(machine: Machine, rng: random.Random) -> str:
    every = [(part, each) for part, kind in machine.parts.items() for each in kind.measurements]
    part, measurement = rng.choice(every)
    return f"{measurement.id}@{part}={_value(measurement, rng)}"


def _value(measurement: Measurement, rng: random.Random) -> str:
    return rng.choice(VALUES[measurement.unit])


def tried(name: str, words: Sequence[str]) -> Outcome:
    """What comes of a case, in this process."""
    machine = load_machine(name)
    started = time.process_time()
    try:
        case = read_typed(machine, words)
        report = ranking_report(rank(machine, case))
        ranked = time.process_time() - started
        _ = plan(machine, case).choice
    except TooManyRuns as refused:
        if not refused.runs:
            return Outcome("unhelpful", str(refused), time.process_time() - started)
        seconds = time.process_time() - started
        gone = [run for run in case.runs if run.index in refused.runs]
        try:
            _ = plan(machine, without(case, gone)).choice
        except NoAnswer as again:
            return Outcome("unhelpful", f"{refused}, and then: {again}", seconds)
        return Outcome("message", str(refused), seconds, 0.0, _megabytes())
    except RowfaultError as refused:
        return Outcome("message", str(refused), time.process_time() - started, 0.0, _megabytes())
    except Exception:
        return Outcome("crash", traceback.format_exc(), time.process_time() - started)
    first = time.process_time() - started - ranked
    says = "in part" if report["left_out"] else ""
    return Outcome("answer", says, ranked, first, _megabytes())


def _megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def limited(name: str, words: Sequence[str]) -> Outcome:
    """The same in a process of its own under limits; dying of them is a crash."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        with open(f"/proc/{os.getpid()}/statm", encoding="ascii") as statm:
            begun = int(statm.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (begun + MEMORY, begun + MEMORY))
        used = int(sum(os.times()[:2]))
        resource.setrlimit(resource.RLIMIT_CPU, (used + 2 * SECONDS, used + 2 * SECONDS))
        with os.fdopen(writing, "w") as out:
            out.write(json.dumps(vars(tried(name, words))))
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as told:
        text = told.read()
    _, status = os.waitpid(child, 0)
    return Outcome(**json.loads(text)) if text else Outcome("crash", f"died with status {status}")


def main(count: int, first: int = 0) -> int:
    """Try so many cases; how many broke."""
    load_knowledge()
    found: list[Outcome] = []
    for number in range(first, first + count):
        name, words = generated(number)
        found.append(each := limited(name, words))
        if each.kind in ("crash", "unhelpful") or max(each.rank, each.first) > CEILING:
            print(f"case {number}: {name} {' '.join(words)}\n{each}", flush=True)
    kinds = Counter(each.kind for each in found)
    print(f"{count} cases from {first}: {', '.join(f'{n} {kind}' for kind, n in kinds.items())}")
    print(f"in part: {sum(each.says == 'in part' for each in found)}")
    for what in ("rank", "first"):
        seconds = sorted(getattr(each, what) for each in found)
        print(
            f"{what}: median {statistics.median(seconds):.2f} s, 99 % {_high(seconds):.2f} s, "
            f"most {seconds[-1]:.2f} s, {sum(each > GOAL for each in seconds)} over {GOAL:g} s, "
            f"{sum(each > CEILING for each in seconds)} over {CEILING:g} s"
        )
    print(f"memory: most {max(each.megabytes for each in found):.0f} MB")
    slow = sum(max(each.rank, each.first) > CEILING for each in found)
    return kinds["crash"] + kinds["unhelpful"] + slow


def _high(seconds: Sequence[float]) -> float:
    return seconds[min(len(seconds) - 1, int(0.99 * len(seconds)))]


HARD: dict[str, tuple[str, list[str]]] = {
    "every row, 8 times": ("mounted-6", ["response=FFFFFF"] * 8),
    "both checks, twice": ("folding-16", ["bleed=" + "F" * 16, "response=" + "F" * 16] * 2),
    "every other row": ("folding-48", ["response=" + "FP" * 24] * 5),
    "all of 48 rows": ("folding-48", ["bleed=" + "F" * 48, "response=" + "F" * 48]),
    "one row, 20 times": ("mounted-12", ["response=PPPPFPPPPPPP"] * 20),
    "thirds": ("folding-48", [f"response={each * 16}" for each in ("FPP", "PFF", "FFP")]),
}

SHIPPED = budget.LIMIT


def _mixed(runs: int) -> list[str]:
    rng = random.Random(runs)
    return [f"response={''.join(rng.choices('FP', k=48))}" for _ in range(runs)]


HEAVY: dict[str, tuple[str, list[str]]] = {
    "every row, 40 times": ("mounted-6", ["response=FFFFFF"] * 40),
    "two mixed runs": ("folding-48", _mixed(2)),
    "three mixed runs": ("folding-48", _mixed(3)),
    "four mixed runs": ("folding-48", _mixed(4)),
    "one row alone, 20 times": (
        "mounted-12",
        ["response=PPPPFPPPPPPP", *["response=....F......."] * 19],
    ),
    "every other row, 12 times": ("mounted-12", ["response=FPFPFPFPFPFP"] * 12),
}


def entries() -> None:
    """Print what hard cases take, by table entries."""
    print("case                   entries  seconds  ms a million  MB")
    for says, (name, words) in HARD.items():
        machine = load_machine(name)
        with budget.within(float("inf")) as spent:
            started = time.process_time()
            rank(machine, read_typed(machine, words))
            seconds = time.process_time() - started
        millions = spent.spent / 1e6
        rate = f"{1000 * seconds / millions:9.1f}"
        print(f"{says:20} {millions:7.0f} M {seconds:8.2f} {rate}     {_megabytes():6.0f}")


def intervals(count: int) -> int:
    """Try limits on so many small networks; how many did not hold the exact value."""
    broken, widths = 0, []
    for seed in range(count):
        world = many_sites(seed)
        budget.LIMIT = 10 ** random.Random(seed).uniform(4.5, 5.7)
        found = posterior(world.network, bounded=True)
        limits = np.array([found.bounds(chance) for chance in found.flat.tolist()])
        truth = world.marginals()
        held = (limits[:, 0] <= truth + 1e-9).all() and (truth <= limits[:, 1] + 1e-9).all()
        broken += not held
        widths.append(found.left_out / (1 + found.left_out))
    some = np.percentile(widths, [10, 50, 90])
    print(f"{count} small networks: {broken} broken; widths {some.round(6).tolist()}")
    return broken


def heavy() -> None:
    """Print how wide the limits of hard cases are."""
    budget.LIMIT = SHIPPED
    for says, (name, words) in (HARD | HEAVY).items():
        started = time.process_time()
        found = rank(load_machine(name), read_typed(load_machine(name), words)).posterior
        seconds = time.process_time() - started
        print(f"{says:24} width {found.left_out / (1 + found.left_out):.1e} {seconds:6.2f} s")


if __name__ == "__main__":
    if sys.argv[1] == "entries":
        entries()
    elif sys.argv[1] == "intervals":
        failed = intervals(int(sys.argv[2]))
        heavy()
        sys.exit(min(failed, 1))
    else:
        sys.exit(min(main(*map(int, sys.argv[1:])), 1))
