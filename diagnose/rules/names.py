"""What a rule may name: the ids that exist, and which of them belong together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import cached_property

from diagnose.errors import RowfaultError
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.circumstances import Circumstance
from diagnose.knowledge.parts import Measurement, Mode
from diagnose.machine.graph import Machine, load_machine
from diagnose.record import record
from diagnose.rules.facts import groups_of
from diagnose.rules.rulefile import FieldTest
from diagnose.rules.satisfiable import passes

_Row = tuple[str, ...]


@record
class Table:
    """Fields of one kind of fact or finding, and every combination that a case can show."""

    fields: tuple[str, ...]
    rows: tuple[_Row, ...]

    def that_pass(self, tests: Mapping[str, Sequence[FieldTest]]) -> Table:
        """The combinations left by the tests that name constants.

        >>> table = Table(("circumstance", "state"), (("oil", "cold"), ("engine", "off")))
        >>> table.that_pass({"circumstance": [FieldTest("equals", "oil")]}).rows
        (('oil', 'cold'),)
        """
        rows = self.rows
        for place, name in enumerate(self.fields):
            fixed = [test for test in tests.get(name, ()) if test.constants]
            if fixed:
                fits = {value: passes(value, fixed) for value in {row[place] for row in rows}}
                rows = tuple(row for row in rows if fits[row[place]])
        return Table(self.fields, rows)

    def column(self, name: str) -> tuple[str, ...]:
        """What stands in one field, each value once.

        >>> Table(("circumstance", "state"), (("oil", "cold"), ("oil", "warm"))).column("state")
        ('cold', 'warm')
        """
        place = self.fields.index(name)
        return tuple(dict.fromkeys(row[place] for row in self.rows))


@record
class Names:
    """The ids that rules may name, as the knowledge has them."""

    knowledge: Knowledge

    def of_type(self, field_type: str) -> frozenset[str] | None:
        """The ids of a type of field (``check``, ``part-kind``); None when any id will do.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> sorted(Names(load_knowledge()).of_type("check"))
        ['bleed', 'response']
        """
        if field_type in ("part", "where", "place"):
            return self._in_machines[field_type]
        return self._ids.get(field_type)

    @cached_property
    def _ids(self) -> Mapping[str, frozenset[str]]:
        known = self.knowledge
        return {
            "machine": frozenset(known.layouts),
            "check": frozenset(known.checks),
            "circumstance": frozenset(known.circumstances),
            "state": frozenset(a for one in known.circumstances.values() for a in _answers(one)),
            "part-kind": frozenset(known.parts),
            "mode": frozenset(mode.id for kind in known.parts.values() for mode in kind.modes),
            "measurement": frozenset(one.id for _, one in self._measurements),
            "result": frozenset(name for _, one in self._measurements for name in _results(one)),
        }

    @cached_property
    def _in_machines(self) -> Mapping[str, frozenset[str]]:
        """What the machines hold. Worked out only when a rule names a part or a place."""
        machines = list(self._machines())
        parts = {part for machine in machines for part in machine.parts}
        places = {group.place for machine in machines for group in groups_of(machine)}
        places |= {part.partition("/")[0] for part in parts}
        return {
            "part": frozenset(parts),
            "where": frozenset(parts | {"all", "ends"}),
            "place": frozenset(parts | places),
        }

    def _machines(self) -> Iterator[Machine]:
        for layout in self.knowledge.layouts:
            with suppress(RowfaultError):
                yield load_machine(layout, self.knowledge)

    @cached_property
    def _measurements(self) -> tuple[tuple[str, Measurement], ...]:
        kinds = self.knowledge.parts.values()
        return tuple((kind.id, one) for kind in kinds for one in kind.measurements)

    @cached_property
    def together(self) -> Mapping[str, Table]:
        """By kind of fact or finding, the combinations of ids that belong together.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> Names(load_knowledge()).together["pressure"].rows
        (('supply',),)
        """
        circumstance, told = ("circumstance",), self.knowledge.circumstances.values()
        run = self.knowledge.of_scope("run").values()
        past = self.knowledge.of_scope("case").values()
        states = [(one.id, state.id) for one in run for state in one.states]
        read = ("part_kind", "measurement")
        numbers = [(kind, one) for kind, one in self._measurements if one.unit != "choice"]
        looks = [(kind, one) for kind, one in self._measurements if one.unit == "choice"]
        units = [(kind, one.id, one.unit) for kind, one in numbers]
        modes = [(k.id, m) for k in self.knowledge.parts.values() for m in _modes(k.modes)]
        results = [(one.id, name) for _, one in self._measurements for name in _results(one)]
        return {
            "temperature": _table(circumstance, _valued(run, "temperature")),
            "pressure": _table(circumstance, _valued(run, "pressure")),
            "setting": _table((*circumstance, "choice"), _choices(run)),
            "unknown": _table(circumstance, [(one.id,) for one in told if one.value != "none"]),
            "history": _table((*circumstance, "answer"), _choices(past)),
            "measured": _table((*read, "unit"), units),
            "compared": _table((*read, "unit"), [row for row in units if row[2] != "code"]),
            "looked": _table((*read, "bad"), [(k, o.id, o.results[0].id) for k, o in looks]),
            "act": _table(("what", "part_kind", "detail"), self._acts()),
            "state": _table((*circumstance, "state"), states),
            "standing": _table(("reason",), [(one.id,) for one in run]),
            "prior": _table(("part_kind", "mode"), modes),
            "reading": _table(("measurement", "result"), results),
        }

    def _acts(self) -> Iterator[_Row]:
        yield ("rerun", "none", "none")
        yield from (("ask", "none", name) for name in self.knowledge.circumstances)
        yield from ((one.kind, kind, one.id) for kind, one in self._measurements)
        for kind in self.knowledge.parts.values():
            yield from (("remedy", kind.id, remedy.id) for remedy in kind.remedies)
            yield from (("swap", kind.id, swap.id) for swap in kind.swaps)


def _table(fields: _Row, rows: Iterable[_Row]) -> Table:
    return Table(fields, tuple(dict.fromkeys(rows)))


def _valued(circumstances: Iterable[Circumstance], value: str) -> list[_Row]:
    return [(one.id,) for one in circumstances if one.value == value]


def _choices(circumstances: Iterable[Circumstance]) -> list[_Row]:
    return [(one.id, choice) for one in circumstances for choice in one.choices]


def _answers(circumstance: Circumstance) -> Iterator[str]:
    yield from circumstance.choices
    yield from (state.id for state in circumstance.states)


def _modes(modes: Iterable[Mode]) -> list[str]:
    return ["any", *(mode.id for mode in modes)]


def _results(measurement: Measurement) -> list[str]:
    return ["good", *(result.id for result in measurement.results)]
