"""Machines of a few rows with few ways to fail, small enough for a full dynamic programme.

Parts, ways to fail, measurements and swaps that are not listed here are left out; what is left
keeps the priors, chances, minutes, prices and set-ups that ship. No circumstance spoils a run.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import permutations
from pathlib import Path

from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.parts import PartKind
from diagnose.machine.graph import Machine, load_machine


@dataclass(frozen=True)
class Kept:
    """What is left of a part kind."""

    modes: tuple[str, ...]
    measurements: tuple[str, ...] = ()
    swaps: tuple[str, ...] = ()


KEPT: Mapping[str, Kept] = {
    "manifold": Kept(("blocked",), ("test-port-pressure",)),
    "bleed-port": Kept(("blocked",), ("look-port",)),
    "branch": Kept(("open",)),
    "connector": Kept(("open",)),
    "driver": Kept(("no_output",)),
    "valve": Kept(
        ("coil_shorted", "stuck_closed"), ("coil-resistance", "valve-code"), ("swap-coil",)
    ),
    "row-air": Kept(("trapped",)),
    "sensor": Kept(("open",)),
}
"""By part kind; the sensor stays in any case, for it reports its row."""

SECTIONS: Mapping[int, tuple[str, ...]] = {2: ("1-2",), 3: ("1-3",), 4: ("1-2", "3-4")}
"""By number of rows, the rows of each section; every section has a port, all share a branch."""


def small_knowledge() -> Knowledge:
    """What ships, less what `KEPT` leaves out; a remedy has its whole chance each time.

    The programme keeps no count of what was done in vain.
    """
    shipped = load_knowledge()
    kinds = {name: _narrowed(shipped.parts[name], kept) for name, kept in KEPT.items()}
    return replace(shipped, parts=kinds, circumstances={})


def _narrowed(kind: PartKind, kept: Kept) -> PartKind:
    modes = tuple(mode for mode in kind.modes if mode.id in kept.modes)
    needed = {mode.remedy for mode in modes}
    remedies = [one for one in kind.remedies if one.id in needed]
    return kind.model_copy(
        update={
            "modes": modes,
            "remedies": tuple(one.model_copy(update={"goes_on": True}) for one in remedies),
            "measurements": tuple(m for m in kind.measurements if m.id in kept.measurements),
            "swaps": tuple(swap for swap in kind.swaps if swap.id in kept.swaps),
        }
    )


def small_machine(rows: int, knowledge: Knowledge, folder: Path) -> Machine:
    """A machine of 2, 3 or 4 rows (invented layout) with the part kinds of a knowledge."""
    path = folder / f"small-{rows}.yaml"
    path.write_text(_layout(rows), encoding="utf-8")
    whole = load_machine(str(path))
    parts = {
        part: knowledge.parts[kind.id]
        for part, kind in whole.parts.items()
        if kind.id in knowledge.parts
    }
    above = {part: tuple(each for each in whole.above[part] if each in parts) for part in parts}
    return replace(whole, parts=parts, needs=above, above=above, _exercised={})


def _layout(rows: int) -> str:
    lines = [f"id: small-{rows}", f"name: small, {rows} rows (invented layout)", f"rows: {rows}"]
    spans = list(enumerate(SECTIONS[rows], start=1))
    lines += ["sections:", *(f"  - {{id: section-{n}, rows: {span}}}" for n, span in spans)]
    lines += ["branches:", f"  - {{id: harness-1, rows: 1-{rows}, controller: controller-1}}"]
    lines += ["controllers:", "  - {id: controller-1}", "ports:"]
    lines += [f"  - {{id: port-{n}, at: {span[0]}, rows: {span}}}" for n, span in spans]
    return "\n".join(lines) + "\n"


def alike(machine: Machine) -> list[tuple[int, ...]]:
    """Every way to renumber the rows that leaves the machine what it is.

    Entry r - 1 is the new number of row r.
    """
    shared = [machine.sections, machine.branches, machine.ports]
    groups = [{frozenset(rows) for rows in one.values()} for one in shared]
    return [
        order
        for order in permutations(range(1, machine.rows + 1))
        if all({frozenset(order[r - 1] for r in rows) for rows in one} == one for one in groups)
    ]
