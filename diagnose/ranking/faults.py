"""The faults that a machine can have, in words: what depends on the machine alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from diagnose.knowledge.parts import Remedy, part_in_words
from diagnose.machine.graph import Machine


class Fault(NamedTuple):
    """One mode of one part: where it is, whom it reaches, what clears it."""

    id: str
    part: str
    mode: str
    says: str
    rows: tuple[int, ...]
    group: str
    remedy: Remedy


def faults_of(machine: Machine) -> Iterator[Fault]:
    """Every mode of every part, in the order of the parts and of their kinds' modes.

    >>> from diagnose.machine.graph import load_machine
    >>> faults = {fault.id: fault for fault in faults_of(load_machine("mounted-6"))}
    >>> faults["row-6/valve:coil_open"].says
    'row 6, row valve: coil open'
    """
    for part, kind in machine.parts.items():
        words, rows = part_in_words(part, kind), machine.rows_of(part)
        for mode in kind.modes:
            yield Fault(
                id=f"{part}:{mode.id}",
                part=part,
                mode=mode.id,
                says=f"{words}: {mode.name}",
                rows=rows,
                group=kind.group,
                remedy=kind.remedy(mode.remedy),
            )
