"""Epochs: the machine between two pieces of work, and readings that are the same observation."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.diagnosis.model import Entries, Model
from diagnose.inference.network import ABSENT, PRESENT
from diagnose.knowledge.parts import Swap
from diagnose.machine.graph import Machine
from diagnose.observations.events import Remedied, Swapped, Work
from diagnose.record import record


@record
class Cleared:
    """A further state: the fault ``origin`` was there until remedy number ``remedy``."""

    origin: int
    remedy: int
    chance: float
    state: int


@record
class Epochs:
    """The states of a machine's parts over the work that was done on it.

    *Origins* are the flat states of the model: a mode of the part in which the case found it.
    Evidence counts flat states of its own, in which each part has further ones for the modes
    that a remedy may have cleared.
    """

    model: Model
    work: tuple[Work, ...]

    @property
    def now(self) -> int:
        """The present epoch.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> Epochs(model, ()).now, Epochs(model, (Remedied("replace-coil", "row-6/valve"),)).now
        (0, 1)
        """
        return len(self.work)

    @cached_property
    def origin_at(self) -> tuple[Ints, ...]:
        """Per epoch (model states) which origin is at each mode's place.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["swap-coil@row-6=row-5"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> five, six = (epochs.model.flat(f"row-{row}/valve", "coil_open") for row in (5, 6))
        >>> [int(at[six]) == five for at in epochs.origin_at]
        [False, True]
        """
        at = np.arange(self.model.offsets[-1], dtype=np.intp)
        epochs = [at]
        for work in self.work:
            if isinstance(work, Swapped):
                at = at.copy()
                here, there = map(np.array, zip(*self._moved(work), strict=True))
                at[here], at[there] = at[there], at[here]
            epochs.append(at)
        return tuple(epochs)

    def _moved(self, work: Swapped) -> Iterator[tuple[int, int]]:
        machine = self.model.machine
        swap = machine.parts[work.part].swap(work.swap)
        theirs = {machine.parts[part].id: part for part in machine.at(work.other.partition("/")[0])}
        for part, mode in moved_modes(machine, work.part, swap):
            yield (
                self.model.flat(part, mode),
                self.model.flat(theirs[machine.parts[part].id], mode),
            )

    @cached_property
    def cleared(self) -> tuple[Cleared, ...]:
        """Every further state, in the order of the parts.

        Two modes of a coil may be cleared, each nearly always.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> [(each.remedy, each.chance) for each in epochs.cleared]
        [(1, 0.98), (1, 0.98)]
        """
        found = list(self._attempts())
        owner = np.searchsorted(self.model.offsets, [each[0] for each in found], side="right") - 1
        pieces, counted = [], np.zeros(len(self.model.machine.parts), dtype=int)
        for place in np.argsort(owner, kind="stable"):
            origin, number, fixes = found[place]
            part = owner[place]
            state = int(self._base[self.model.offsets[part + 1] - 1]) + 1 + int(counted[part])
            counted[part] += 1
            pieces.append(Cleared(origin, number, fixes, state))
        return tuple(pieces)

    def _attempts(self) -> Iterator[tuple[int, int, float]]:
        """For each remedy and mode that it clears: the origin, its number, its chance by then."""
        tried: Counter[tuple[int, str]] = Counter()
        for number, work in enumerate(self.work, start=1):
            if isinstance(work, Remedied):
                kind = self.model.machine.parts[work.part]
                for mode in kind.cleared_by(work.remedy):
                    origin = int(self.origin_at[number][self.model.flat(work.part, mode.id)])
                    fixes = kind.remedy(work.remedy).fixes_after(tried[origin, work.remedy])
                    tried[origin, work.remedy] += 1
                    yield origin, number, fixes

    def tried(self, part: str, mode: str, remedy: str) -> int:
        """How often a remedy was done on the mode that the case found in a part.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"] * 2)
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> [epochs.tried("row-6/valve", mode, "replace-coil") for mode in ("coil_open", "leaking")]
        [2, 0]
        """
        origin = self.model.flat(part, mode)
        done = [self.work[each.remedy - 1] for each in self.cleared if each.origin == origin]
        return sum(isinstance(work, Remedied) and work.remedy == remedy for work in done)

    @cached_property
    def _extra(self) -> Ints:
        """(parts) how many further states each part has."""
        extra = np.zeros(len(self.model.machine.parts), dtype=np.intp)
        for number, work in enumerate(self.work, start=1):
            if isinstance(work, Remedied):
                for mode in self.model.machine.parts[work.part].cleared_by(work.remedy):
                    origin = self.origin_at[number][self.model.flat(work.part, mode.id)]
                    extra[np.searchsorted(self.model.offsets, origin, side="right") - 1] += 1
        return extra

    @cached_property
    def offsets(self) -> Ints:
        """(parts + 1) first flat state of each part.

        A new coil adds two states to the seven of its valve, and none to the parts before it.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> valve = epochs.model.place["row-6/valve"]
        >>> before, own = epochs.offsets[valve], np.diff(epochs.offsets)[valve]
        >>> int(before - epochs.model.offsets[valve]), int(own)
        (0, 9)
        """
        offsets: Ints = self.model.offsets + np.concatenate([[0], np.cumsum(self._extra)])
        return offsets

    @cached_property
    def _base(self) -> Ints:
        """(model states) the flat state in which an origin was never cleared."""
        owner = np.repeat(np.arange(len(self._extra)), np.diff(self.model.offsets))
        base: Ints = np.arange(len(owner)) + (self.offsets - self.model.offsets)[owner]
        return base

    @cached_property
    def modes(self) -> Ints:
        """(faults) the flat state in which a part has each of the model's faults to this day."""
        states: Ints = self._base[self.model.modes]
        return states

    def cured(self, part: str, mode: str) -> tuple[int, ...]:
        """The flat states in which it had the mode until a remedy cleared it.

        The valve's own states 0 to 6 come first, then one for each mode that was cleared.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> sound = int(epochs.offsets[epochs.model.place["row-6/valve"]])
        >>> [state - sound for state in epochs.cured("row-6/valve", "coil_shorted")]
        [8]
        >>> epochs.cured("row-6/valve", "leaking")
        ()
        """
        origin = self.model.flat(part, mode)
        return tuple(each.state for each in self.cleared if each.origin == origin)

    @cached_property
    def remedied(self) -> Mapping[int, tuple[int, ...]]:
        """By flat state of a mode, the numbers of the remedies that were done to it, if any.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"] * 2)
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> epochs.remedied[epochs.present("row-6/valve", "coil_open")]
        (1, 2)
        """
        done: dict[int, list[int]] = {}
        for each in self.cleared:
            done.setdefault(each.origin, []).append(each.remedy)
        found = {int(self._base[origin]): tuple(numbers) for origin, numbers in done.items()}
        return found | {each.state: tuple(done[each.origin]) for each in self.cleared}

    @cached_property
    def touched(self) -> frozenset[int]:
        """The origins that remedies may have cleared or that swaps have moved.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> modes = ("coil_open", "coil_shorted")
        >>> sorted(epochs.touched) == [epochs.model.flat("row-6/valve", mode) for mode in modes]
        True
        """
        at = self.origin_at[-1]
        moved = np.flatnonzero(at != np.arange(len(at)))
        return frozenset(moved.tolist()).union(each.origin for each in self.cleared)

    def gone(self, part: str) -> tuple[int, ...]:
        """Within the part's variable, the states that a remedy has cleared.

        A valve is sound or in one of six modes, states 0 to 6; a new coil clears two of them.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> epochs.gone("row-6/valve"), epochs.gone("row-5/valve")
        ((7, 8), ())
        """
        v = self.model.place[part]
        modes = int(self.model.offsets[v + 1] - self.model.offsets[v])
        return tuple(range(modes, modes + int(self._extra[v])))

    def prior(self, weights: Floats) -> Floats:
        """(states) prior of every state, from that of every origin.

        A new coil clears an open one 98 times in 100.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> prior = epochs.prior(epochs.model.prior({}))
        >>> still = epochs.present("row-6/valve", "coil_open")
        >>> [cured] = epochs.cured("row-6/valve", "coil_open")
        >>> float(round(prior[still] / (prior[still] + prior[cured]), 9))
        0.02
        """
        prior = np.empty(self.offsets[-1])
        prior[self._base] = weights
        for each in self.cleared:
            base = self._base[each.origin]
            prior[each.state] = prior[base] * each.chance
            prior[base] *= 1 - each.chance
        return prior

    def entries(self, entries: Entries, epoch: int) -> Entries:
        """What modes at their places do to a finding, as flat states of that epoch.

        A mode that a later remedy cleared was there still.

        What a new coil cleared could make the row fail before it, and not after.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> fails = epochs.model.check_entries("response", 6)
        >>> cured = epochs.cured("row-6/valve", "coil_open")
        >>> [np.isin(cured, epochs.entries(fails, epoch)[0]).tolist() for epoch in (0, 1)]
        [[True], [False]]
        """
        if not self.work:
            return entries
        places, logs = entries
        origins = self.origin_at[epoch][places]
        there = dict(zip(origins.tolist(), logs.tolist(), strict=True))
        later = [each for each in self.cleared if each.remedy > epoch and each.origin in there]
        return (
            np.concatenate(
                [self._base[origins], np.array([e.state for e in later], dtype=np.intp)]
            ),
            np.concatenate([logs, [there[each.origin] for each in later]]),
        )

    def present(self, part: str, mode: str) -> int:
        """The flat state of a mode that is at a part's place by now, wherever it was found.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["swap-coil@row-6=row-5"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> found_in_six = epochs.model.flat("row-6/valve", "coil_open")
        >>> epochs.present("row-5/valve", "coil_open") == found_in_six
        True
        """
        return int(self._base[self.origin_at[-1][self.model.flat(part, mode)]])

    def place_of(self, part: str, mode: str) -> str:
        """The part's place at which the mode that the case found in a part is by now.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["swap-coil@row-6=row-5"])
        >>> epochs = rank(load_machine("mounted-6"), told).evidence.epochs
        >>> epochs.place_of("row-6/valve", "coil_open"), epochs.place_of("row-6/valve", "leaking")
        ('row-5/valve', 'row-6/valve')
        """
        return self._moved_to.get((part, mode), part)

    @cached_property
    def _moved_to(self) -> dict[tuple[str, str], str]:
        """The present places of the (part, mode) pairs that are no longer where they were found."""
        at = self.origin_at[-1]
        if not any(isinstance(work, Swapped) for work in self.work):
            return {}
        names = [
            (part, mode)
            for part, kind in self.model.machine.parts.items()
            for mode in ("", *(mode.id for mode in kind.modes))
        ]
        moved = np.flatnonzero(at != np.arange(len(at)))
        return {names[int(at[place])]: names[place][0] for place in moved.tolist()}


def moved_modes(machine: Machine, part: str, swap: Swap) -> Iterator[tuple[str, str]]:
    """The (part, mode) pairs of a row that a swap takes to the other row.

    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> swap = machine.parts["row-2/valve"].swap("swap-coil")
    >>> list(moved_modes(machine, "row-2/valve", swap))
    [('row-2/valve', 'coil_open'), ('row-2/valve', 'coil_shorted')]
    """
    own = {mode.id for mode in machine.parts[part].modes}
    kinds = [name for name in swap.moves if name not in own]
    yield from ((part, mode) for mode in swap.moves if mode in own)
    for other in machine.at(part.partition("/")[0]):
        if machine.parts[other].id in kinds:
            yield from ((other, mode.id) for mode in machine.parts[other].modes)


@dataclass(frozen=True)
class Told:
    """What readings have told so far, by the name of the bad result at its part."""

    epochs: Epochs
    _last: dict[tuple[str, int], dict[int, int]] = field(default_factory=dict)
    _there: set[tuple[str, bytes]] = field(default_factory=set)

    def news(self, name: str, outcome: int, entries: Entries, epoch: int) -> Entries:
        """The entries of a bad result about which its outcome in an epoch says something new.

        A shorted coil that the meter did not show it will not show again; a new coil it may.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["replace-coil@row-6=done"])
        >>> evidence = rank(load_machine("mounted-6"), told).evidence
        >>> meter = evidence.model.machine.parts["row-6/valve"].measurement("coil-resistance")
        >>> low = meter.results[1]
        >>> before = evidence.model.reading_entries("row-6/valve", "coil-resistance", low)
        >>> readings = Told(evidence.epochs)
        >>> for epoch in 0, 0, 1, 1:
        ...     entries = evidence.epochs.entries(before, epoch)
        ...     print(len(readings.news("low", ABSENT, entries, epoch)[0]))
        ...     readings.add("low", ABSENT, entries, epoch)
        2
        0
        1
        0
        """
        states, logs = entries
        seen = self._last.get((name, outcome), {})
        known = np.array([self._as_it_was(one, seen, epoch) for one in states.tolist()], dtype=bool)
        if outcome == ABSENT:
            return states[~known], logs[~known]
        if (name, states.tobytes()) in self._there:
            return states[:0], logs[:0]
        return states, np.where(known, -np.inf, logs)

    def add(self, name: str, outcome: int, entries: Entries, epoch: int) -> None:
        """Take note of an outcome."""
        states, _ = entries
        self._last.setdefault((name, outcome), {}).update(dict.fromkeys(states.tolist(), epoch))
        if outcome == PRESENT:
            self._there.add((name, states.tobytes()))

    def _as_it_was(self, state: int, seen: dict[int, int], epoch: int) -> bool:
        """Whether a state was read before and no remedy was done to it since."""
        if state not in seen:
            return False
        done = self.epochs.remedied.get(state, ())
        return not any(seen[state] < number <= epoch for number in done)
