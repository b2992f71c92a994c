"""A machine with hidden faults that can be checked, measured, mended and swapped, and its clock.

It reads the same knowledge as the program, by code of its own: nothing here calls the inference.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import ANY_SETUP, PARKED, Mode
from diagnose.machine.graph import Machine

HiddenFault = tuple[str, str]
"""A part's place and the mode that is there."""

LEAST_SHOWN, MOST_SHOWN = 0.02, 0.99
"""A shifted chance of detection stays within these."""


class _Chance(Protocol):
    """Where luck comes from: numbers from 0 to 1, such as a numpy generator gives."""

    def random(self) -> float:
        """The next number."""


@dataclass
class World:
    """One machine whose faults nobody knows.

    Parameters
    ----------
    faults: what is wrong, at the places where it is by now.
    rng: the luck of whatever is done next.
    shift: how far the world's detection chances are off what the knowledge says;
        it is added to every chance that is neither 0 nor a false alarm.
    minutes, parts_minutes: of work so far, and of parts at their stated rate.
    reruns, in_vain: runs so far, and parts that were fitted where none of their faults was.
    tried: how often each remedy has left each fault.
    """

    machine: Machine
    knowledge: Knowledge
    faults: set[HiddenFault]
    rng: _Chance
    shift: float = 0.0
    setup: str = PARKED
    minutes: float = 0.0
    reruns: int = 0
    parts_minutes: float = 0.0
    in_vain: int = 0
    tried: Counter[tuple[HiddenFault, str]] = field(default_factory=Counter)
    log: list[str] = field(default_factory=list)

    def run(
        self, check: str, rows: Iterable[int], states: Mapping[str, str] | None = None
    ) -> dict[int, bool]:
        """Which of the rows fail a check; ``states`` are its circumstances that are not good.

        >>> from types import SimpleNamespace
        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> known, even = load_knowledge(learned=False), SimpleNamespace(random=lambda: 0.5)
        >>> world = World(load_machine("mounted-6"), known, {("row-6/valve", "coil_open")}, even)
        >>> world.run("response", [5, 6]), world.run("bleed", [5, 6])  # oil still flows
        ({5: False, 6: True}, {5: False, 6: False})
        """
        made = self.knowledge.checks[check]
        rows = list(rows)
        self._spend(made.setup, made.set_up_minutes + made.minutes_per_row * len(rows))
        self.reruns += 1
        sound = self._sound(check) * self._left_by(check, states or {})
        shown = {row: bool(self.rng.random() >= sound * self._passes(check, row)) for row in rows}
        self.log.append(f"{check} {rows}: {[row for row, fails in shown.items() if fails]} fail")
        return shown

    def _sound(self, check: str) -> float:
        """What of a row's chance to pass is left by whatever nobody can see go wrong in a run."""
        left = 1.0
        for circumstance in self.knowledge.of_scope("run").values():
            if circumstance.value == "none":
                spin = self.rng.random()
                for state in circumstance.states:
                    spin -= state.prior_for(check)
                    if spin < 0:
                        left *= 1 - state.shows.get(check, 0.0)
                        break
        return left

    def _left_by(self, check: str, states: Mapping[str, str]) -> float:
        """What of a row's chance to pass bad circumstances leave."""
        left = 1.0
        for name, state in states.items():
            left *= 1 - self.knowledge.circumstances[name].state(state).shows.get(check, 0.0)
        return left

    def _passes(self, check: str, row: int) -> float:
        passes = 1 - self.knowledge.checks[check].false_alarm
        above = set(self.machine.ancestors(row, check))
        for part, mode in self.faults:
            if part in above:
                passes *= 1 - self._chance(self._mode(part, mode).shows.get(check, 0.0))
        return passes

    def _chance(self, stated: float) -> float:
        if not stated or not self.shift:
            return stated
        return min(max(stated + self.shift, LEAST_SHOWN), MOST_SHOWN)

    def _mode(self, part: str, mode: str) -> Mode:
        return self.machine.parts[part].mode(mode)

    def read(self, measurement: str, part: str) -> str:
        """The result of a measurement: bad results are looked at in order, ``good`` at the end.

        >>> from types import SimpleNamespace
        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> known, even = load_knowledge(learned=False), SimpleNamespace(random=lambda: 0.5)
        >>> world = World(load_machine("mounted-6"), known, {("row-6/valve", "coil_open")}, even)
        >>> [world.read("coil-resistance", f"row-{row}/valve") for row in (5, 6)]
        ['good', 'open']
        """
        made = self.machine.parts[part].measurement(measurement)
        self._spend(made.setup, made.minutes)
        here = {part, *self.machine.upstream(part)}
        kind = self.machine.parts[part].id
        found = "good"
        for result in made.results:
            absent = 1 - result.false_alarm
            for place, mode in self.faults:
                if place in here:
                    own = self.machine.parts[place].id
                    seen = result.sees.get(f"{own}:{mode}", 0.0)
                    if own == kind and place == part:
                        seen = result.sees.get(mode, seen)
                    absent *= 1 - self._chance(seen)
            if self.rng.random() >= absent:
                found = result.id
                break
        self.log.append(f"{measurement}@{part}: {found}")
        return found

    def repair(self, remedy: str, part: str) -> bool:
        """Do a remedy; whether it cleared anything.

        >>> from types import SimpleNamespace
        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> known, even = load_knowledge(learned=False), SimpleNamespace(random=lambda: 0.5)
        >>> world = World(load_machine("mounted-6"), known, {("row-6/valve", "coil_open")}, even)
        >>> done = [world.repair("replace-coil", f"row-{row}/valve") for row in (5, 6)]
        >>> done, sorted(world.faults)
        ([False, True], [])
        """
        kind = self.machine.parts[part]
        made = kind.remedy(remedy)
        served = len(self.machine.rows_of(part))
        self._spend(made.setup, made.minutes + made.minutes_per_row * served)
        price = self.knowledge.rates.price_minutes[made.parts_price]
        self.parts_minutes += price
        meant = {
            (place, mode)
            for place, mode in self.faults
            if place == part and mode in {each.id for each in kind.cleared_by(remedy)}
        }
        cleared = {
            fault
            for fault in sorted(meant)
            if self.rng.random() < made.fixes_after(self.tried[fault, remedy])
        }
        self.faults -= cleared
        self.tried.update((fault, remedy) for fault in meant)
        if made.parts_price != "none" and not meant:
            self.in_vain += 1
        self.log.append(f"{remedy}@{part}: {'right' if meant else 'in vain'}")
        return bool(cleared)

    def swap(self, swap: str, part: str, other: str) -> None:
        """Let what a swap moves change places.

        >>> from types import SimpleNamespace
        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> known, even = load_knowledge(learned=False), SimpleNamespace(random=lambda: 0.5)
        >>> world = World(load_machine("mounted-6"), known, {("row-6/valve", "coil_open")}, even)
        >>> world.swap("swap-coil", "row-6/valve", "row-5/valve")
        >>> sorted(world.faults)
        [('row-5/valve', 'coil_open')]
        """
        made = self.machine.parts[part].swap(swap)
        self._spend(made.setup, made.minutes)
        pairs = self._moved(made.moves, part, other)
        self.faults = {pairs.get(fault, fault) for fault in self.faults}
        moved = {(pairs.get(fault, fault), name): n for (fault, name), n in self.tried.items()}
        self.tried = Counter(moved)
        self.log.append(f"{swap}@{part}+{other}")

    def _moved(
        self, moves: Iterable[str], part: str, other: str
    ) -> Mapping[HiddenFault, HiddenFault]:
        here, there = part.partition("/")[0], other.partition("/")[0]
        own = {mode.id for mode in self.machine.parts[part].modes}
        pairs: dict[HiddenFault, HiddenFault] = {}
        for name in moves:
            if name in own:
                pairs[part, name] = (other, name)
                pairs[other, name] = (part, name)
                continue
            for place, kind in self.machine.parts.items():
                if kind.id == name and place.startswith(f"{here}/"):
                    twin = place.replace(f"{here}/", f"{there}/")
                    for mode in kind.modes:
                        pairs[place, mode.id] = (twin, mode.id)
                        pairs[twin, mode.id] = (place, mode.id)
        return pairs

    def hand_over(self) -> None:
        """Give the case away; whoever takes it puts everything right.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> air = {("supply/air", "trapped")}
        >>> world = World(load_machine("mounted-6"), load_knowledge(), air, None)
        >>> world.hand_over()
        >>> sorted(world.faults), world.minutes
        ([], 300.0)
        """
        self.minutes += self.knowledge.rates.hand_over_minutes
        self.faults = set()
        self.log.append("handed over")

    @property
    def cost(self) -> float:
        """Minutes of work, and parts at their stated rate, together.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> world = World(load_machine("mounted-6"), load_knowledge(), set(), None)
        >>> _ = world.repair("replace-coil", "row-6/valve")
        >>> world.cost  # 15 minutes of work, and 30 for a part of medium price
        45.0
        """
        return self.minutes + self.parts_minutes

    def _spend(self, setup: str, minutes: float) -> None:
        if setup != ANY_SETUP:
            minutes += self.knowledge.change_minutes(self.setup, setup)
            self.setup = setup
        self.minutes += minutes


def draw_faults(
    machine: Machine, rng: _Chance, factors: Mapping[str, float] | None = None
) -> set[HiddenFault]:
    """Faults drawn from the priors, each part on its own; ``factors`` are by part kind.

    >>> from types import SimpleNamespace
    >>> from diagnose.machine.graph import load_machine
    >>> machine, even = load_machine("mounted-6"), SimpleNamespace(random=lambda: 0.5)
    >>> sorted(draw_faults(machine, even)), sorted(draw_faults(machine, even, {"circuit-air": 1e6}))
    ([], [('supply/air', 'trapped')])
    """
    faults = set()
    for part, kind in machine.parts.items():
        factor = (factors or {}).get(kind.id, 1.0)
        odds = [mode.prior * factor for mode in kind.modes]
        total = 1 - sum(mode.prior for mode in kind.modes) + sum(odds)
        spin = rng.random() * total
        for mode, weight in zip(kind.modes, odds, strict=True):
            if spin < weight:
                faults.add((part, mode.id))
                break
            spin -= weight
    return faults
