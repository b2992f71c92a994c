"""Minutes where something was not said, against the average over what might have been said.

Run with ``python -m tests.bench.averages CASES [SEED [SCOPE]]``, for example ``200 1 run``. Each
random case leaves one circumstance of its last run unsaid, or with the scope ``case`` one of the
machine's past. Nobody who knows less is done sooner on average, and nobody needs longer than by
asking first: the minutes lie between the mean over the answers, weighted by what is then believed
of them, and that with the minutes of the question. What is told is by how much that fails, as a
part of the minutes. Of the past it must fail at times: what history was not told counts part by
part (`diagnosis/history.py`), so that what many rows have in common is underrated.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.api import rank
from diagnose.diagnosis.causes import Ranking
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.typed import read_typed
from diagnose.training.decision_point import PatientPlan

MACHINES = ("mounted-6", "mounted-12", "folding-16")

WITHIN = 0.03
"""By so much of the minutes the rule may fail: a plan is found by looking a few acts ahead."""

VALUES: Mapping[str, Mapping[str, Mapping[str, str]]] = {
    "oil": {"any": {"warm": "54C", "cool": "35C", "cold": "5C"}},
    "supply": {
        "bleed": {"enough": "60bar", "low": "4bar", "high": "150bar"},
        "response": {"enough": "180bar", "low": "60bar"},
    },
}
"""A number that stands for each state; the states of other circumstances are their own words."""

GOOD = {
    "bleed": {
        "oil": "54C", "engine": "on", "moving": "no", "supply": "60bar", "bleed-hose": "fitted",
    },
    "response": {
        "oil": "54C", "engine": "on", "moving": "no", "supply": "180bar", "bleed-hose": "stowed",
    },
}  # fmt: skip


@dataclass(frozen=True)
class Unsaid:
    """A case in which one circumstance was not said: what is typed, and where it would stand."""

    machine: str
    before: tuple[str, ...]
    circumstance: str
    check: str

    def typed(self, value: str | None) -> list[str]:
        """What is typed with a value, or without: after the last run, or before all of it."""
        said = [f"{self.circumstance}={value}"] if value else []
        past = load_knowledge().circumstances[self.circumstance].scope == "case"
        return [*said, *self.before] if past else [*self.before, *said]

    def values(self) -> dict[str, tuple[float, str]]:
        """By state its prior and what is typed for it."""
        kind = load_knowledge().circumstances[self.circumstance]
        typed = VALUES.get(self.circumstance, {})
        named = typed.get(self.check) or typed.get("any") or {one.id: one.id for one in kind.states}
        priors = {one.id: one.prior_for(self.check) for one in kind.states}
        return {state: (priors[state], word) for state, word in named.items() if priors[state]}

    def ranked(self, value: str | None) -> Ranking:
        machine = load_machine(self.machine)
        return rank(machine, read_typed(machine, self.typed(value)))


@dataclass(frozen=True)
class Found:
    """Minutes when it is not said, their mean over what might be said, and of asking."""

    unsaid: float
    mean: float
    asking: float

    @property
    def short(self) -> float:
        """By what part of the mean the minutes are too few; negative when they are enough."""
        return 1 - self.unsaid / self.mean

    @property
    def over(self) -> float:
        """By what part they are more than asking first would take."""
        return self.unsaid / (self.mean + self.asking) - 1

    @property
    def holds(self) -> bool:
        """Whether they lie where they should."""
        return max(self.short, self.over) <= WITHIN


def weighed(case: Unsaid) -> Found:
    """The minutes of a case, and the mean over what might have been said, by Bayes' rule."""
    given = [(prior, case.ranked(word)) for prior, word in case.values().values()]
    logs = np.array([np.log(prior) + each.posterior.log_evidence for prior, each in given])
    weight = np.exp(logs - logs.max())
    minutes = np.array([PatientPlan(each).plan_minutes for _, each in given])
    asked = load_knowledge().circumstances[case.circumstance].ask
    return Found(
        unsaid=PatientPlan(case.ranked(None)).plan_minutes,
        mean=float(weight @ minutes / weight.sum()),
        asking=asked.minutes if asked else 0.0,
    )


def cases(
    count: int, seed: int, scope: str = "run", machines: Sequence[str] = MACHINES
) -> Iterator[Unsaid]:
    """Random cases: a full response check, perhaps after a bleed, some of it said."""
    rng = np.random.default_rng(seed)
    known = load_knowledge()
    kinds = [one.id for one in known.of_scope(scope).values() if one.ask]
    for _ in range(count):
        machine = str(rng.choice(machines))
        rows = load_machine(machine).rows
        circumstance = str(rng.choice(kinds))
        said = float(rng.choice([0.0, 0.5, 1.0]))
        checks = [("response",), ("bleed",), ("bleed", "response")][int(rng.integers(3))]
        words = []
        for check in checks:
            words.append(f"{check}={_pattern(rng, rows, check != checks[-1])}")
            for name, value in GOOD[check].items():
                last = check == checks[-1]
                if not (last and name == circumstance) and (rng.random() < said or not last):
                    words.append(f"{name}={value}")
        yield Unsaid(machine, tuple(words), circumstance, checks[-1])


def _pattern(rng: np.random.Generator, rows: int, may_pass: bool) -> str:
    """Passes and fails: all rows, one, a stretch, or a few."""
    bad = np.zeros(rows, dtype=bool)
    match int(rng.integers(1 - may_pass, 5)):
        case 1:
            bad[:] = True
        case 2:
            bad[rng.integers(rows)] = True
        case 3:
            first = int(rng.integers(rows - 1))
            bad[first : first + int(rng.integers(2, rows // 2 + 1))] = True
        case 4:
            bad[rng.choice(rows, 2, replace=False)] = True
    return "".join("F" if each else "P" for each in bad)


def main(count: int, seed: int, scope: str) -> None:
    """Print how often the rule fails, by how much, and the worst cases."""
    found = [(weighed(case), case) for case in cases(count, seed, scope)]
    failing = [one for one in found if not one[0].holds]
    short = np.array([one.short for one, _ in found])
    over = np.array([one.over for one, _ in found])
    print(f"{count} cases: {len(failing)} fail by more than {WITHIN:.0%}")
    for name, values in (("too few", short), ("too many", over)):
        most = np.quantile(values, 0.95)
        print(f"{name:<9} at most {values.max():7.1%}, 95 of 100 below {most:7.1%}")
    for one, case in sorted(failing, key=lambda one: -max(one[0].short, one[0].over))[:12]:
        print(f"{one.unsaid:7.1f} for {one.mean:7.1f} + {one.asking:.0f}: {case.circumstance} of "
              f"{case.machine} {' '.join(case.before)}")  # fmt: skip


if __name__ == "__main__":
    number, *words = sys.argv[1:]
    main(int(number), int((words or ["1"])[0]), (words[1:] or ["run"])[0])
