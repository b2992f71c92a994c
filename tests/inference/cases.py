"""Typed cases on shipped machines, as networks (all invented)."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from diagnose.api import rank
from diagnose.diagnosis.causes import Ranking
from diagnose.inference.network import Network
from diagnose.machine.graph import load_machine
from diagnose.observations.typed import read_typed

GOOD = {
    "bleed": ("supply=900psi", "bleed-hose=fitted"),
    "response": ("supply=180bar", "bleed-hose=stowed"),
}
STEADY = ("oil=54C", "engine=on", "moving=no")
PATTERNS = ("one row", "section", "scattered", "all")


def failed_rows(machine: str, pattern: str) -> set[int]:
    """The rows that fail in a pattern."""
    built = load_machine(machine)
    every = range(1, built.rows + 1)
    return {
        "one row": {built.rows // 2},
        "section": set(next(iter(built.sections.values()))),
        "scattered": set(every[1::4]),
        "all": set(every),
    }[pattern]


def typed(rows: int, bad: Iterable[int], known: bool = True, again: bool = True) -> list[str]:
    """Both checks on all rows with the same failures, then the failed rows once more."""
    lost = set(bad)
    said = list(STEADY) if known else []
    letters = "".join("F" if row in lost else "P" for row in range(1, rows + 1))
    for pattern in (letters, letters.replace("P", "."))[: 2 if again else 1]:
        for check, good in GOOD.items():
            said += [f"{check}={pattern}", *(good if known else ())]
    return said


def ranking(machine: str, arguments: Iterable[str]) -> Ranking:
    """The ranking of a typed case."""
    built = load_machine(machine)
    return rank(built, read_typed(built, list(arguments)))


def network(machine: str, pattern: str, known: bool = True, again: bool = True) -> Network:
    """The network of a pattern of failures."""
    bad = failed_rows(machine, pattern)
    return ranking(machine, typed(load_machine(machine).rows, bad, known, again)).evidence.network


def random_network(machine: str, seed: int) -> Network:
    """Two runs of each check in which rows fail at random, some of them not run."""
    rng = np.random.default_rng(seed)
    rows = load_machine(machine).rows
    said: list[str] = []
    for check in ("bleed", "response", "response"):
        chance = rng.choice([0.05, 0.15, 0.3])
        marks = rng.choice(list("FP."), rows, p=[chance, 0.9 - chance, 0.1])
        said += [f"{check}={''.join(marks)}", *(GOOD[check] if rng.random() < 0.5 else ())]
    return ranking(machine, said).evidence.network
