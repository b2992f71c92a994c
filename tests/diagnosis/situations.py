"""Named situations at a planter, typed as a technician would type them (all invented)."""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.api import rank
from diagnose.diagnosis.causes import Ranking
from diagnose.machine.graph import load_machine
from diagnose.observations.typed import read_typed

STEADY = ("oil=54C", "engine=on", "moving=no")
BLEED = ("supply=900psi", "bleed-hose=fitted")
RESPONSE = ("supply=180bar", "bleed-hose=stowed")


def ranked(machine: str, *typed: str) -> Ranking:
    """The ranking of one typed case."""
    built = load_machine(machine)
    return rank(built, read_typed(built, typed))


def failing(machine: str, check: str, rows: Iterable[int]) -> str:
    """A run in which just these rows failed."""
    bad = set(rows)
    letters = ("F" if row in bad else "P" for row in range(1, load_machine(machine).rows + 1))
    return f"{check}={''.join(letters)}"


def both_checks(machine: str, bleed: Iterable[int], response: Iterable[int]) -> Ranking:
    """Both checks made as they should be, with these rows failing each."""
    return ranked(
        machine,
        *STEADY,
        failing(machine, "bleed", bleed),
        *BLEED,
        failing(machine, "response", response),
        *RESPONSE,
    )
