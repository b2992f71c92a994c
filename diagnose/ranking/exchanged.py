"""What is out of its place: pieces that were swapped between rows and never went back.

Every mode of a part stands for a piece of it (the coil's modes for the coil). A swap exchanges the
pieces of two rows. A new piece belongs where it is fitted; the old one of that place then belongs
where the piece that was taken out had come from, so of two swapped coils one new one ends it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diagnose.cases.case import Swapped, Work
from diagnose.cases.rows import rows_in_words
from diagnose.knowledge.parts import Swap
from diagnose.machine.graph import Machine
from diagnose.ranking.epochs import moved_modes
from diagnose.record import record

Piece = tuple[str, str]
"""A (part, mode): a place, and what belongs there."""


@record
class Exchanged:
    """What two rows still have of each other's, and the work that puts it back."""

    swap: Swap
    work: Swapped
    rows: tuple[int, int]

    @property
    def says(self) -> str:
        """What is where it does not belong.

        >>> from diagnose.machine.graph import load_machine
        >>> done = [Swapped("cross-plugs", "row-5/connector", "row-6/connector")]
        >>> [each.says for each in exchanged(load_machine("mounted-6"), done)]
        ['the leads of rows 5 and 6 are still exchanged']
        """
        return f"the {self.swap.things} of {_both(self.rows)} are still exchanged"


def exchanged(machine: Machine, work: Sequence[Work]) -> tuple[Exchanged, ...]:
    """What is still exchanged after some work, in an order in which it can be put back.

    Of two coils that changed places one was replaced: the other stays where it is.

    >>> from diagnose.cases.case import Remedied
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> swap = Swapped("swap-coil", "row-5/valve", "row-6/valve")
    >>> for done in ([swap], [swap, swap], [swap, Remedied("replace-coil", "row-6/valve")]):
    ...     print([each.work.id for each in exchanged(machine, done)])
    ['swap-coil@row-5/valve+row-6/valve']
    []
    []
    """
    home = _homes(machine, work)
    return tuple(_put_back(machine, work, home)) if home else ()


def _homes(machine: Machine, work: Sequence[Work]) -> dict[Piece, Piece]:
    """By place where the piece that is there belongs, of all that are out of their place."""
    home: dict[Piece, Piece] = {}
    for done in work:
        if isinstance(done, Swapped):
            _exchange(machine, done, home)
            continue
        for swap in machine.parts[done.part].swaps:
            if done.remedy in swap.ended_by:
                for piece in moved_modes(machine, done.part, swap):
                    _renew(piece, home)
    return home


def _exchange(machine: Machine, work: Swapped, home: dict[Piece, Piece]) -> None:
    for here, there in _pairs(machine, work):
        one, other = home.get(here, here), home.get(there, there)
        home[here], home[there] = other, one
        for place in (here, there):
            if home[place] == place:
                del home[place]


def _pairs(machine: Machine, work: Swapped) -> Iterator[tuple[Piece, Piece]]:
    swap = machine.parts[work.part].swap(work.swap)
    theirs = {machine.parts[part].id: part for part in machine.at(work.other.partition("/")[0])}
    for part, mode in moved_modes(machine, work.part, swap):
        yield (part, mode), (theirs[machine.parts[part].id], mode)


def _renew(place: Piece, home: dict[Piece, Piece]) -> None:
    """A new piece at a place; the old one of that place takes the home of what was taken out."""
    vacant = home.pop(place, place)
    for other in [other for other, belongs in home.items() if belongs == place]:
        home[other] = vacant
        if other == vacant:
            del home[other]


def _put_back(
    machine: Machine, work: Sequence[Work], home: dict[Piece, Piece]
) -> Iterator[Exchanged]:
    """Swaps that bring every piece home; those that move most come first."""
    swaps = [done for done in work if isinstance(done, Swapped)]
    kinds = {done.swap: done for done in reversed(swaps)}
    sizes = {name: len(list(_pairs(machine, done))) for name, done in kinds.items()}
    for name in sorted(kinds, key=lambda one: -sizes[one]):
        smaller = [kinds[one] for one in kinds if sizes[one] < sizes[name]]
        while (back := _next_back(machine, kinds[name], smaller, home)) is not None:
            _exchange(machine, back, home)
            yield _exchanged(machine, back)


def _next_back(
    machine: Machine, like: Swapped, smaller: Sequence[Swapped], home: dict[Piece, Piece]
) -> Swapped | None:
    """A swap of the same sort that brings a piece home which no smaller swap moves."""
    moved = _kinds(machine, like).difference(*(_kinds(machine, each) for each in smaller))
    name = like.part.partition("/")[2]
    for (part, mode), (belongs, _) in home.items():
        if (machine.parts[part].id, mode) in moved:
            rows = part.partition("/")[0], belongs.partition("/")[0]
            one, other = sorted(rows, key=lambda row: int(row.partition("-")[2]))
            return Swapped(like.swap, f"{one}/{name}", f"{other}/{name}")
    return None


def _kinds(machine: Machine, work: Swapped) -> set[tuple[str, str]]:
    """The (part kind, mode) pairs that a swap moves."""
    return {(machine.parts[part].id, mode) for (part, mode), _ in _pairs(machine, work)}


def _exchanged(machine: Machine, work: Swapped) -> Exchanged:
    (one,), (other,) = machine.rows_of(work.part), machine.rows_of(work.other)
    return Exchanged(machine.parts[work.part].swap(work.swap), work, (one, other))


def _both(rows: tuple[int, int]) -> str:
    return rows_in_words(rows) if rows[1] - rows[0] > 1 else f"rows {rows[0]} and {rows[1]}"
