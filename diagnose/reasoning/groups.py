"""Rows that share something, as the machine's graph has them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping

from diagnose.knowledge.parts import PartKind
from diagnose.machine.graph import Machine
from diagnose.reasoning.tally import mask_of
from diagnose.record import record


@record
class Group:
    """Rows that share a part, or a place, or nothing but the machine.

    ``checks`` are those that exercise what the rows share; empty means every check.
    """

    kind: str
    place: str
    rows: tuple[int, ...]
    mask: int
    checks: frozenset[str] = frozenset()

    def matters_to(self, check: str) -> bool:
        """Whether the check depends on what the rows share.

        >>> Group("port", "port-left", (1,), 2, frozenset({"bleed"})).matters_to("response")
        False
        """
        return not self.checks or check in self.checks


def groups_of(machine: Machine) -> list[Group]:
    """Sections, branches, controllers, ports, tails of chains, ends, alternate rows, all rows.

    >>> from diagnose.machine.graph import load_machine
    >>> [group.rows for group in groups_of(load_machine("mounted-12")) if group.kind == "section"]
    [(1, 2, 3, 4, 5, 6), (7, 8, 9, 10, 11, 12)]
    """
    checks = _checks_by_holder(machine.parts)
    holders = (
        ("section", machine.sections),
        ("branch", machine.branches),
        ("controller", machine.controllers),
        ("port", machine.ports),
    )
    named = [
        Group(kind, place, tuple(sorted(rows)), mask_of(rows), checks[place])
        for kind, places in holders
        for place, rows in places.items()
    ]
    return [*named, *_tails(machine, checks), *_regular(machine.rows)]


def _checks_by_holder(parts: Mapping[str, PartKind]) -> Mapping[str, frozenset[str]]:
    found: defaultdict[str, set[str]] = defaultdict(set)
    for part, kind in parts.items():
        found[part.partition("/")[0]].update(kind.exercised_by)
    frozen = {holder: frozenset(checks) for holder, checks in found.items()}
    return defaultdict(frozenset, frozen)


def _tails(machine: Machine, checks: Mapping[str, frozenset[str]]) -> Iterator[Group]:
    """Whatever hangs on each hose of a chain, the first hose left out: it feeds all."""
    for chain, rows in machine.chains.items():
        for place in range(1, len(rows)):
            tail = rows[place:]
            hose = f"{chain}/chain-{tail[0]}"
            yield Group("chain-tail", hose, tuple(sorted(tail)), mask_of(tail), checks[chain])


def _regular(rows: int) -> Iterator[Group]:
    everyone = tuple(range(1, rows + 1))
    yield Group("machine", "machine", everyone, mask_of(everyone))
    if rows >= 4:
        for kind, place, some in (
            ("ends", "ends", (1, rows)),
            ("alternate", "odd-rows", everyone[::2]),
            ("alternate", "even-rows", everyone[1::2]),
        ):
            yield Group(kind, place, some, mask_of(some))
