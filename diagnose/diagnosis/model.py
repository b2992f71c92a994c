"""The variables of a case: parts with their modes, runs with their circumstances."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.diagnosis.history import Past, pasts
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import BadResult, Mode, PartKind, Remedy, part_in_words
from diagnose.machine.graph import Machine
from diagnose.record import record
from diagnose.rules.finding import RuleFinding

Entries = tuple[Ints, Floats]
"""Flat states and the log survival that each lets a finding have."""

PastOfParts = tuple[frozenset[tuple[str, str]], frozenset[str] | None]
"""What was told of the past, and the parts that matter, if not all."""

OK = 0
"""The state of a part without a fault; state s + 1 is the kind's mode s."""


@record
class Model:
    """The variables of a machine's parts, before anything has been seen.

    ``priors`` keeps the priors of a past with the findings that they rest on and the parts they
    were worked out for, ``readings`` what parts do to a bad result: whoever supposes a result
    asks for the same ones again.
    """

    machine: Machine
    knowledge: Knowledge
    priors: dict[PastOfParts, tuple[tuple[RuleFinding, ...], Floats]] = field(
        default_factory=dict, repr=False, compare=False
    )
    readings: dict[tuple[str, str, str], Entries] = field(
        default_factory=dict, repr=False, compare=False
    )

    @cached_property
    def offsets(self) -> Ints:
        """(parts + 1) first flat state of each part, in the machine's order.

        A row valve is sound or in one of six modes.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> int(np.diff(model.offsets)[model.place["row-6/valve"]])
        7
        """
        sizes = [len(kind.modes) + 1 for kind in self.machine.parts.values()]
        return np.cumsum([0, *sizes])

    @cached_property
    def place(self) -> Mapping[str, int]:
        """The number of each part.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> list(model.place).index("row-6/valve") == model.place["row-6/valve"]
        True
        >>> model.place["row-6/sensor"] == len(model.machine.parts) - 1
        True
        """
        return {part: v for v, part in enumerate(self.machine.parts)}

    def prior(self, factors: Mapping[tuple[str, str], float]) -> Floats:
        """(states) prior of every state, with the odds of some (part, mode) multiplied.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> trapped = model.flat("row-6/air", "trapped")
        >>> before, after = model.prior({}), model.prior({("row-6/air", "trapped"): 10})
        >>> [float(round(p[trapped] / p[trapped - 1], 6)) for p in (before, after)]
        [0.004016, 0.040161]
        """
        if not factors:
            return self._normal.copy()
        weights = self._plain.copy()
        for (part, mode), factor in factors.items():
            weights[self.flat(part, mode)] *= factor
        return self._normalised(weights)

    def _normalised(self, weights: Floats) -> Floats:
        totals = np.add.reduceat(weights, self.offsets[:-1])
        normal: Floats = weights / np.repeat(totals, np.diff(self.offsets))
        return normal

    @cached_property
    def _normal(self) -> Floats:
        return self._normalised(self._plain)

    @cached_property
    def _plain(self) -> Floats:
        kinds = {kind.id: _prior(kind) for kind in self.machine.parts.values()}
        return np.concatenate([kinds[kind.id] for kind in self.machine.parts.values()])

    @cached_property
    def pasts(self) -> tuple[Past, ...]:
        """What rules make of the machine's past, by answers that they look at together."""
        return pasts(self.knowledge)

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """Every mode of every part, in the order of their flat states.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> [fault.id for fault in model.faults if fault.part == "port-left/port"]
        ['port-left/port:blocked', 'port-left/port:leaking']
        """
        return tuple(faults_of(self.machine))

    @cached_property
    def fault_columns(self) -> tuple[tuple[Any, ...], ...]:
        """Field by field what `faults` are."""
        return tuple(zip(*self.faults, strict=True))

    @cached_property
    def modes(self) -> Ints:
        """(faults) the flat state of each of `faults`: all but those of sound parts.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> sound = model.offsets[model.place["row-6/air"]]
        >>> np.isin([sound, sound + 1], model.modes).tolist()
        [False, True]
        """
        return np.delete(np.arange(self.offsets[-1], dtype=np.intp), self.offsets[:-1])

    @cached_property
    def of_kind(self) -> Mapping[str, Ints]:
        """The states of the parts of each kind: (parts, modes + 1).

        Six rows have a valve each, and a valve seven states, of which the first is sound.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> model.of_kind["valve"].shape
        (6, 7)
        >>> int(model.of_kind["valve"][5, 1]) == model.flat("row-6/valve", "coil_open")
        True
        """
        return {
            kind: np.array([self.offsets[self.place[part]] for part in parts])[:, None]
            + np.arange(len(self.machine.parts[parts[0]].modes) + 1)
            for kind, parts in self.machine.of_kind.items()
        }

    def flat(self, part: str, mode: str) -> int:
        """The flat state of a part's mode.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> model.flat("row-6/air", "trapped") - int(model.offsets[model.place["row-6/air"]])
        1
        """
        return self._flat[part, mode]

    @cached_property
    def _flat(self) -> Mapping[tuple[str, str], int]:
        states = self.modes.tolist()
        return {(one.part, one.mode): s for one, s in zip(self.faults, states, strict=True)}

    def mode(self, part: str, state: int) -> Mode:
        """The mode that a state of a part stands for (state 1 is the first mode).

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> model.mode("row-6/valve", 1).id, model.mode("row-6/valve", 2).id
        ('coil_open', 'coil_shorted')
        """
        return self.machine.parts[part].modes[state - 1]

    def check_entries(self, check: str, row: int) -> Entries:
        """What the ancestors of a row do to a check on it.

        A plug that has come off shows when the row is to respond, and not when it is bled.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> plug = model.flat("row-6/connector", "open")
        >>> [plug in model.check_entries(check, 6)[0].tolist() for check in ("bleed", "response")]
        [False, True]
        """
        return self._check_entries[check, row]

    @cached_property
    def _check_entries(self) -> dict[tuple[str, int], Entries]:
        sizes = np.diff(self.offsets)
        found = {}
        for check in self.knowledge.checks:
            states, logs = self._shown(check)
            for row in range(1, self.machine.rows + 1):
                exercised = np.zeros(len(sizes), dtype=bool)
                above = self.machine.ancestors(row, check)
                exercised[[self.place[part] for part in above]] = True
                mine = np.repeat(exercised, sizes)[states]
                found[check, row] = (states[mine], logs[mine])
        return found

    def _shown(self, check: str) -> Entries:
        """Every mode that a check can show, wherever it is."""
        kinds = {kind.id: kind for kind in self.machine.parts.values()}
        table = {
            name: _log_survival(mode.shows.get(check, 0.0) for mode in kind.modes)
            for name, kind in kinds.items()
        }
        return self._gathered((part, *table[k.id]) for part, k in self.machine.parts.items())

    def reading_entries(self, part: str, measurement: str, result: BadResult) -> Entries:
        """What a part and all that it needs do to one bad result of a measurement of it.

        A shorted coil reads low nine times in ten, so it is missed once.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> model = Model(load_machine("mounted-6"), load_knowledge())
        >>> low = model.machine.parts["row-6/valve"].measurement("coil-resistance").results[1]
        >>> states, logs = model.reading_entries("row-6/valve", "coil-resistance", low)
        >>> [model.faults[k].id for k in np.flatnonzero(np.isin(model.modes, states))]
        ['row-6/valve:coil_shorted']
        >>> np.exp(logs).round(6).tolist()
        [0.1]
        """
        key = (part, measurement, result.id)
        if key not in self.readings:
            self.readings[key] = self._reading_entries(part, result)
        return self.readings[key]

    def _reading_entries(self, part: str, result: BadResult) -> Entries:
        seen: dict[str, dict[str, float]] = {}
        for name, chance in result.sees.items():
            seen_kind, colon, seen_mode = name.partition(":")
            if not colon:
                seen_kind, seen_mode = self.machine.parts[part].id, name
            seen.setdefault(seen_kind, {})[seen_mode] = chance
        members = (part, *self.machine.upstream(part))
        return self._gathered(
            (member, *_log_survival(seen[kind.id].get(mode.id, 0.0) for mode in kind.modes))
            for member in members
            if (kind := self.machine.parts[member]).id in seen
        )

    def _gathered(self, pieces: Iterable[tuple[str, Ints, Floats]]) -> Entries:
        states, logs = [np.zeros(0, dtype=np.intp)], [np.zeros(0)]
        for part, state, log in pieces:
            states.append(state + self.offsets[self.place[part]])
            logs.append(log)
        return np.concatenate(states), np.concatenate(logs)


def _prior(kind: PartKind) -> Floats:
    modes = [mode.prior for mode in kind.modes]
    return np.array([1 - sum(modes), *modes])


def _log_survival(chances: Iterable[float]) -> Entries:
    """States (mode s is state s + 1) that matter and their log survivals."""
    chance = np.fromiter(chances, dtype=float)
    state = np.flatnonzero(chance)
    with np.errstate(divide="ignore"):
        return state + 1, np.log1p(-chance[state])


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
