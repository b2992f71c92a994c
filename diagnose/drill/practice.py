"""What technicians do without a planner: the order in which practice tries remedies."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence

from diagnose.knowledge.parts import PartKind, Remedy
from diagnose.machine.graph import Machine

Failed = Collection[tuple[str, int]]
"""Checks and rows that failed last."""


def worst(failed: Failed) -> tuple[str, list[int]]:
    """The check with most failures, and its failed rows; ties go to the quicker response check.

    >>> worst([("bleed", 3), ("response", 3), ("response", 4)])
    ('response', [3, 4])
    """
    by_check = {c: [row for check, row in failed if check == c] for c, _ in failed}
    check = max(by_check, key=lambda c: (len(by_check[c]), c == "response"))
    return check, by_check[check]


def with_neighbours(rows: Sequence[int], most: int) -> list[int]:
    """The rows and those on either side of each.

    >>> with_neighbours([1, 4], 6)
    [1, 2, 3, 4, 5]
    """
    near = {row + step for row in rows for step in (-1, 0, 1)}
    return [row for row in sorted(near) if 1 <= row <= most]


def upstream(machine: Machine, check: str, rows: Sequence[int]) -> Iterator[tuple[Remedy, str]]:
    """Remedies in the order of practice: shared by all failed rows first when a group failed.

    >>> from diagnose.machine.graph import load_machine
    >>> order = upstream(load_machine("mounted-6"), "response", [6])
    >>> [(remedy.id, part) for remedy, part in order][:2]
    [('replace-valve', 'row-6/valve'), ('replace-coil', 'row-6/valve')]
    """
    groups = [*machine.sections.values(), *machine.branches.values()]
    shared = [p for p in machine.ancestors(rows[0], check) if set(rows) <= set(machine.rows_of(p))]
    whole = any(set(group) <= set(rows) for group in groups)
    first = list(reversed([p for p in shared if len(machine.rows_of(p)) > 1])) if whole else []
    own = list(reversed([p for p in machine.ancestors(rows[0], check) if p not in first]))
    first_of_row = "/air" if check == "bleed" else "/valve"
    own.sort(key=lambda p: (len(machine.rows_of(p)), not p.endswith(first_of_row)))
    yield from remedies(machine, [*first, *own], set())


def remedies(
    machine: Machine, parts: Sequence[str], tried: Collection[tuple[str, str]]
) -> Iterator[tuple[Remedy, str]]:
    """Every remedy of the parts in order, the most thorough of each part first.

    >>> from diagnose.machine.graph import load_machine
    >>> part = "row-6/valve"
    >>> left = remedies(load_machine("mounted-6"), [part], [("replace-valve", part)])
    >>> [remedy.id for remedy, _ in left]  # the one clears both faults of the coil, the other dirt
    ['replace-coil', 'clean-valve']
    """
    for part in parts:
        kind: PartKind = machine.parts[part]
        for remedy in sorted(kind.remedies, key=lambda r: -len(kind.cleared_by(r.id))):
            if (remedy.id, part) not in tried:
                yield remedy, part
