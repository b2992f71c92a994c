"""What is out of its place: pieces that were swapped between rows and never went back.

Every mode of a part stands for a piece of it (the coil's modes for the coil). Each piece belongs
in one place: a valve, driver, sensor or lead in a row, a coil on a valve, whatever row the valve
is in. A piece is out of its place when it is not where it belongs.

A swap changes where pieces are and never where they belong. A new piece belongs where it is
fitted, and the one that was taken out is gone. A piece that belonged in that place, or on the
valve that is gone, now belongs where the piece that was taken out belonged. So of two swapped
coils one new one ends it; and a coil may stay on another row's valve once its own valve and the
coil whose place it took are both gone. Crossed leads have nothing new fitted to them: they go
back.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from diagnose.knowledge.parts import PartKind, Swap
from diagnose.machine.graph import Machine
from diagnose.observations.events import Swapped, Work
from diagnose.observations.rows import rows_in_words
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

    @property
    def advice(self) -> str:
        """The same with what to do about it.

        >>> from diagnose.machine.graph import load_machine
        >>> for swap, part in (("cross-plugs", "connector"), ("swap-coil", "valve")):
        ...     done = [Swapped(swap, f"row-5/{part}", f"row-6/{part}")]
        ...     print([each.advice for each in exchanged(load_machine("mounted-6"), done)][0][30:])
        still exchanged: put them back, then rerun both rows
        still exchanged: put them back or fit a new one, then rerun both rows
        """
        new = " or fit a new one" if self.swap.ended_by else ""
        return f"{self.says}: put them back{new}, then rerun both rows"


def exchanged(machine: Machine, work: Sequence[Work]) -> tuple[Exchanged, ...]:
    """What is still exchanged after some work, in an order in which it can be put back.

    Of two coils that changed places one was replaced: the other stays where it is.

    >>> from diagnose.observations.events import Remedied
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
        kind = machine.parts[done.part]
        if isinstance(done, Swapped):
            _exchange(kind, done, home)
            continue
        for swap in _smallest_first(kind):
            if done.remedy in swap.ended_by:
                _renew(kind, done.part, swap, home)
    return home


def _smallest_first(kind: PartKind) -> list[Swap]:
    """A kind's swaps: a new coil takes its place on the old valve before the valve is new too."""
    return sorted(kind.swaps, key=lambda each: len(_pieces(kind, each)))


def _pieces(kind: PartKind, swap: Swap) -> tuple[str, ...]:
    """The modes that stand for what a swap exchanges; those of other kinds only go along."""
    own = {mode.id for mode in kind.modes}
    return tuple(mode for mode in swap.moves if mode in own)


def _core(kind: PartKind, swap: Swap) -> tuple[str, ...]:
    """What no smaller swap of the kind exchanges: of a valve its body, without the coil."""
    pieces = _pieces(kind, swap)
    sizes = {each.id: set(_pieces(kind, each)) for each in kind.swaps}
    smaller = [size for size in sizes.values() if size < set(pieces)]
    return tuple(mode for mode in pieces if not any(mode in size for size in smaller))


def _exchange(kind: PartKind, work: Swapped, home: dict[Piece, Piece]) -> None:
    for mode in _pieces(kind, kind.swap(work.swap)):
        here, there = (work.part, mode), (work.other, mode)
        one, other = home.get(here, here), home.get(there, there)
        _lay({here: other, there: one}, home)


def _renew(kind: PartKind, part: str, swap: Swap, home: dict[Piece, Piece]) -> None:
    """A new piece at a place: it belongs with what it is fitted to, a coil with its valve.

    The piece whose place it takes then belongs where the one that was taken out did.
    """
    pieces = _pieces(kind, swap)
    larger = [each for each in kind.swaps if set(_pieces(kind, each)) > set(pieces)]
    carriers = [home.get((part, mode), (part, mode))[0] for s in larger for mode in _core(kind, s)]
    belongs = carriers[0] if carriers else part
    for mode in pieces:
        place, target = (part, mode), (belongs, mode)
        holders = [each for each, at_home in home.items() if at_home == target]
        holder = holders[0] if holders else target
        if holder != place:
            _lay({holder: home.get(place, place), place: target}, home)


def _lay(pieces: Mapping[Piece, Piece], home: dict[Piece, Piece]) -> None:
    """Note where pieces belong that are at some places now; what is at home is left out."""
    for place, belongs in pieces.items():
        if belongs == place:
            home.pop(place, None)
        else:
            home[place] = belongs


def _put_back(
    machine: Machine, work: Sequence[Work], home: dict[Piece, Piece]
) -> Iterator[Exchanged]:
    """Swaps that bring every piece home; of a kind those that move most come first."""
    kinds = {machine.parts[done.part].id: machine.parts[done.part] for done in work}
    for kind in kinds.values():
        for swap in sorted(kind.swaps, key=lambda each: -len(_pieces(kind, each))):
            core = _core(kind, swap)
            while (back := _next_back(machine, kind, swap, core, home)) is not None:
                _exchange(kind, back, home)
                yield _exchanged(machine, back)


def _next_back(
    machine: Machine, kind: PartKind, swap: Swap, core: Sequence[str], home: Mapping[Piece, Piece]
) -> Swapped | None:
    """A swap that brings a piece home: every one leaves fewer of its core out of place."""
    for (part, mode), (belongs, _) in home.items():
        if machine.parts[part].id == kind.id and mode in core:
            one, other = sorted((part, belongs), key=machine.rows_of)
            return Swapped(swap.id, one, other)
    return None


def _exchanged(machine: Machine, work: Swapped) -> Exchanged:
    (one,), (other,) = machine.rows_of(work.part), machine.rows_of(work.other)
    return Exchanged(machine.parts[work.part].swap(work.swap), work, (one, other))


def _both(rows: tuple[int, int]) -> str:
    return rows_in_words(rows) if rows[1] - rows[0] > 1 else f"rows {rows[0]} and {rows[1]}"
