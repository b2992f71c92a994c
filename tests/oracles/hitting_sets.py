"""Which smallest sets of parts could explain a pattern if every check were perfect.

This is consistency-based diagnosis: Reiter (1987), "A theory of diagnosis from first
principles", with the correction of Greiner, Smith and Wilkerson (1989). Each failed row is
a conflict set, the parts that could have made it fail; an explanation hits every one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.result import Result

MOST_SETS = 20_000
"""Hitting sets kept at one time; beyond this `minimal_hitting_sets` gives up."""


class TooManySets(ValueError):
    """There are more minimal hitting sets than anybody could look at."""


def minimal_hitting_sets(conflicts: Iterable[Iterable[str]]) -> list[frozenset[str]]:
    """All smallest-by-inclusion sets that share a member with every conflict.

    Conflicts are taken one at a time: sets that already hit it stay, the others are widened
    by each of its members, and what contains a smaller set is dropped (Berge).

    Raises `TooManySets` beyond `MOST_SETS`.

    >>> [sorted(found) for found in minimal_hitting_sets(["ab", "bc", "ac", "bd", "b"])]
    [['a', 'b'], ['b', 'c']]
    """
    found: list[frozenset[str]] = [frozenset()]
    for conflict in sorted(map(frozenset, conflicts), key=lambda one: (len(one), sorted(one))):
        hitting = [one for one in found if one & conflict]
        wider = {one | {member} for one in found if not one & conflict for member in conflict}
        new = [one for one in wider if not any(small <= one for small in hitting)]
        found = hitting + new
        if len(found) > MOST_SETS:
            raise TooManySets(f"expected at most {MOST_SETS} sets, got {len(found)}")
    return sorted(found, key=lambda one: (len(one), sorted(one)))


def conflicts(machine: Machine, case: Case) -> list[frozenset[str]]:
    """For each failed row the parts that could have made it fail, were every check perfect.

    A part could if one of its modes shows in that check and in no check that a row depending
    on the part passed.

    A bleed exercises no wiring, and rows 4 and 5 bled at the same port as row 6.

    >>> from diagnose import load_machine, read_typed
    >>> machine = load_machine("mounted-6")
    >>> [able] = conflicts(machine, read_typed(machine, ["bleed=PPPPPF"]))
    >>> sorted(able)
    ['row-6/air', 'row-6/cylinder', 'row-6/hose', 'row-6/valve']
    """
    cleared: dict[str, set[str]] = {}
    for run in case.runs:
        for row in run.rows_with(Result.PASS):
            for part in machine.ancestors(row, run.check):
                cleared.setdefault(part, set()).add(run.check)
    found = []
    for run in case.runs:
        for row in run.rows_with(Result.FAIL):
            able = machine.ancestors(row, run.check)
            found.append(
                frozenset(
                    part
                    for part in able
                    if _could(machine, part, run.check, cleared.get(part, set()))
                )
            )
    return found


def _could(machine: Machine, part: str, check: str, cleared: set[str]) -> bool:
    return any(
        mode.shows.get(check) and not any(mode.shows.get(other) for other in cleared)
        for mode in machine.parts[part].modes
    )


def smallest_size(conflict_sets: Sequence[frozenset[str]]) -> int | None:
    """How many parts the smallest explanation has; None when no parts can explain it.

    Conflicts with the same parts, or that contain another, ask nothing new.

    >>> smallest_size([frozenset("ab"), frozenset("bc"), frozenset("d")])
    2
    """
    kept: list[frozenset[str]] = []
    for conflict in sorted(set(conflict_sets), key=len):
        if not conflict:
            return None
        if not any(small <= conflict for small in kept):
            kept.append(conflict)
    return _cover(kept, len(kept))


def _cover(conflict_sets: list[frozenset[str]], most: int) -> int:
    """Branch on the smallest conflict; disjoint conflicts each need one part of their own."""
    if not conflict_sets:
        return 0
    if _disjoint(conflict_sets) >= most:
        return most
    first = min(conflict_sets, key=lambda one: (len(one), sorted(one)))
    signatures: dict[tuple[frozenset[str], ...], str] = {}
    for part in sorted(first):
        left = tuple(one for one in conflict_sets if part not in one)
        signatures.setdefault(left, part)
    for left in sorted(signatures, key=len):
        most = min(most, 1 + _cover(list(left), most - 1))
    return most


def _disjoint(conflict_sets: Sequence[frozenset[str]]) -> int:
    taken: set[str] = set()
    count = 0
    for one in sorted(conflict_sets, key=len):
        if not one & taken:
            taken |= one
            count += 1
    return count
