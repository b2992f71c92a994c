"""Our planner against what technicians do without it, on the same hidden faults.

Run with ``python -m tests.bench.practice MACHINE FAULTS``, for example ``mounted-12 1000``. Faults
are drawn from the priors and kept when a full run of every check fails some row. Minutes count
the work, and parts at their stated rate; the full run at the start and the final full pass are
the same for everybody. A wrong stop leaves a fault in a machine that passed everything.

With ``--world NAME`` the world is not as the program believes: ``priors`` has every part kind
three times as bad or as good, ``deaf`` and ``keen`` have every chance of detection 0.2 lower or
higher, ``pairs`` always two faults. There ``informed`` is the planner that knows the world as it
is: how much the planner loses by its wrong beliefs.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import count as count_from

import numpy as np

from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine, load_machine
from diagnose.training.world import HiddenFault, World, draw_faults
from tests.bench.beliefs import informed
from tests.bench.planner import planned
from tests.bench.policies import Policy, half_split, practice
from tests.bench.repairing import in_order

POLICIES: Mapping[str, Policy] = {
    "planner": planned("restore"),
    "practice": practice,
    "half-split": half_split,
    "information": planned("isolate"),
    "p/c repairs": in_order,
}


@dataclass(frozen=True)
class Score:
    """What one policy spent on every fault: (faults) each."""

    cost: np.ndarray
    minutes: np.ndarray
    reruns: np.ndarray
    in_vain: np.ndarray
    wrong: np.ndarray


@dataclass(frozen=True)
class Setting:
    """How the world differs from what the program believes."""

    name: str = "as believed"
    factors: Mapping[str, float] | None = None
    shift: float = 0.0
    pairs: bool = False


def settings() -> dict[str, Setting]:
    """The worlds by name."""
    rng = np.random.default_rng(3)
    kinds = load_knowledge().parts
    factors = {kind: float(rng.choice([1 / 3, 3.0])) for kind in kinds}
    every = [
        Setting(),
        Setting("priors", factors=factors),
        Setting("deaf", shift=-0.2),
        Setting("keen", shift=0.2),
        Setting("pairs", pairs=True),
    ]
    return {setting.name: setting for setting in every}


@dataclass(frozen=True)
class Hidden:
    """What is wrong with one machine, and the seed of all chance in its checks."""

    faults: frozenset[HiddenFault]
    seed: int

    def world(self, machine: Machine, knowledge: Knowledge, shift: float = 0.0) -> World:
        """The machine, before anybody has looked at it."""
        return World(machine, knowledge, set(self.faults), np.random.default_rng(self.seed), shift)


def hidden_faults(machine_id: str, count: int, seed: int, setting: Setting) -> list[Hidden]:
    """Machines on which the full run of every check fails some row.

    Some have no fault at all: a row fails by false alarm, as it does on real machines. Faults and
    noise are drawn anew together until the checks fail, or false alarms would be too rare.
    """
    knowledge = load_knowledge()
    machine = load_machine(machine_id, knowledge)
    rng = np.random.default_rng(seed)
    rows = range(1, machine.rows + 1)
    found: list[Hidden] = []
    for attempt in count_from(1_000_000 * seed):
        faults = draw_faults(machine, rng, setting.factors)
        if setting.pairs and len(faults) != 2:
            continue
        hidden = Hidden(frozenset(faults), attempt)
        world = hidden.world(machine, knowledge, setting.shift)
        if any(any(world.run(check, rows).values()) for check in knowledge.checks):
            found.append(hidden)
        if len(found) == count:
            break
    return found


def score(policy: Policy, machine_id: str, faults: list[Hidden], setting: Setting) -> Score:
    """Let a policy work on every fault, each with its own noise, the same for every policy."""
    knowledge = load_knowledge()
    machine = load_machine(machine_id, knowledge)
    rows = []
    for hidden in faults:
        world = hidden.world(machine, knowledge, setting.shift)
        policy(world)
        rows.append(
            (world.cost, world.minutes, world.reruns, world.in_vain, float(bool(world.faults)))
        )
    return Score(*np.array(rows, dtype=float).T)


def told(name: str, mine: Score, practice_cost: np.ndarray) -> str:
    """One line of the table: means with 95 % confidence intervals."""

    def mean(values: np.ndarray) -> str:
        half = 1.96 * values.std() / np.sqrt(len(values))
        return f"{values.mean():7.1f} ±{half:4.1f}"

    ratio = mine.cost.mean() / practice_cost.mean()
    return (
        f"{name:<14} {mean(mine.cost)} {mean(mine.minutes)} {mine.reruns.mean():6.2f} "
        f"{mine.in_vain.mean():6.3f} {100 * mine.wrong.mean():5.1f} %   {ratio:5.2f}"
    )


def main(machine_id: str, count: int, setting: Setting, only: list[str]) -> None:
    """Print the table for one machine."""
    faults = hidden_faults(machine_id, count, seed=1, setting=setting)
    print(f"{machine_id}, {count} faults, {setting.name}")
    print("policy            minutes+parts      minutes  reruns in vain  wrong  of practice")
    scores: dict[str, Score] = {}
    policies = {**POLICIES, "informed": planned(model=informed(machine_id, setting))}
    for name in ["practice", *[n for n in (only or POLICIES) if n != "practice"]]:
        begun = time.perf_counter()
        scores[name] = score(policies[name], machine_id, faults, setting)
        line = told(name, scores[name], scores["practice"].cost)
        print(f"{line}   ({time.perf_counter() - begun:.0f} s)", flush=True)


if __name__ == "__main__":
    machine, number, *words = sys.argv[1:]
    world = "as believed"
    if words[:1] == ["--world"]:
        world, words = words[1], words[2:]
    main(machine, int(number), settings()[world], words)
