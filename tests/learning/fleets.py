"""Invented fleets: closed cases on machines whose parts fail at rates that are known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.parts import Mode, PartKind
from diagnose.learning.counts import count_cases, load_weights
from diagnose.learning.update import Lesson, Moved, learn
from diagnose.machine.graph import load_machine

KNOWN = load_knowledge(learned=False)
WEIGHTS = load_weights()

Times = Callable[[PartKind, str], float]
"""How many times as often as shipped a kind of part fails on machines of a frame."""


@dataclass(frozen=True)
class Closed:
    """A closed case as a list shows it."""

    machine: str
    causes: tuple[str, ...] = ()
    outcome: str = "proven"


def lesson(cases: Sequence[Closed]) -> Lesson:
    return learn(count_cases(cases, KNOWN), KNOWN.parts, WEIGHTS)


def moved(lesson: Lesson, kind: str, mode: str = "") -> Moved:
    return next(m for m in (*lesson.modes, *lesson.kinds) if (m.kind, m.mode) == (kind, mode))


def as_shipped(_kind: PartKind, _frame: str) -> float:
    return 1.0


def fleet(cases: int, rng: np.random.Generator, times: Times = as_shipped) -> list[Closed]:
    """Cases on the shipped machines in turn; every part is drawn by itself."""
    names = sorted(KNOWN.layouts)
    each = [cases // len(names) + (n < cases % len(names)) for n in range(len(names))]
    return [
        case for name, many in zip(names, each, strict=True) for case in _on(name, many, rng, times)
    ]


def _on(name: str, cases: int, rng: np.random.Generator, times: Times) -> list[Closed]:
    machine = load_machine(name, KNOWN)
    causes: list[list[str]] = [[] for _ in range(cases)]
    for part, kind in machine.parts.items():
        often = times(kind, machine.frame)
        for mode, case in _faults(kind.modes, cases, rng, often):
            causes[case].append(f"{part}:{mode}")
    return [Closed(name, tuple(found)) for found in causes]


def _faults(
    modes: Sequence[Mode], cases: int, rng: np.random.Generator, often: float
) -> list[tuple[str, int]]:
    """The mode of one part in each case in which it has one."""
    limits = np.cumsum([often * mode.prior for mode in modes])
    spins = np.searchsorted(limits, rng.random(cases), side="right")
    return [(modes[spin].id, case) for case, spin in enumerate(spins) if spin < len(modes)]
