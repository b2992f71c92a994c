"""Does what was told fit the machine? For stories that come from elsewhere.

Values are checked as they are kept; `diagnose.cases.values` checks them as they are typed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import get_args

from diagnose.cases.values import LARGEST_CODE, YES_NO, parts_with, typeable
from diagnose.errors import FileProblems, Place, Problem, offer, quoted
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.circumstances import Circumstance
from diagnose.knowledge.parts import Measurement, Tool
from diagnose.knowledge.strictyaml import read_text
from diagnose.knowledge.units import KINDS
from diagnose.knowledge.wrong import Fault, Wrong, unknown
from diagnose.machine.graph import SEE, Machine, load_machine, machine_in
from diagnose.story.event import (
    Answered,
    AtHand,
    Checked,
    Circumstances,
    Concluded,
    Correction,
    Exchanged,
    History,
    Measured,
    Mended,
    Opened,
    What,
)

UNIT_KINDS: Mapping[str, str] = {"ohm": "resistance", "V": "voltage", "bar": "pressure"}


def machine_of(opening: Opened, knowledge: Knowledge, where: Place) -> Machine:
    """The machine of a story: from the layout in it, or one that is known by its id.

    A path is refused: a story from elsewhere says nothing about files here. Raises `FileProblems`.
    """
    if opening.layout is None:
        if opening.machine not in knowledge.layouts:
            remedy = offer(opening.machine, knowledge.layouts, SEE)
            got = quoted(opening.machine)
            raise FileProblems([Problem(where, "a machine that is known here", got, remedy)])
        return load_machine(opening.machine, knowledge)
    machine = machine_in(read_text(opening.layout, f"{where}, its layout"), knowledge)
    if machine.id != opening.machine:
        expected = f"a layout of {opening.machine}"
        raise FileProblems([Problem(where, expected, f"one of {machine.id}")])
    return machine


class Fit:
    """What one machine has, so that it can be said of events whether they fit it.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> fit = Fit(load_machine("mounted-6"), load_knowledge())
    >>> [(path, wrong)] = fit.misfits(Checked(check="bleed", pattern="PF"))
    >>> path, wrong.expected, wrong.got
    (('pattern',), '6 letters, one for each row', '2')
    """

    def __init__(self, machine: Machine, knowledge: Knowledge) -> None:
        self.machine, self.knowledge = machine, knowledge
        self.known = typeable(knowledge)
        self._parts: dict[str, tuple[str, ...]] = {}

    def misfits(self, what: What) -> Iterator[Fault]:
        """What of an event does not fit, and where in the event."""
        match what:
            case Correction() if what.instead is not None:
                inner = self.misfits(what.instead)
                yield from ((("instead", *path), wrong) for path, wrong in inner)
            case Checked():
                yield from self._run(what)
            case Answered():
                path = ("value",)
                yield from self._circumstance(path, what.circumstance, what.value, "run")
            case Circumstances():
                yield from self._values(what.values, "values", "run")
            case History():
                yield from self._values(what.values, "values", "case")
            case _:
                yield from self._act(what)

    def _act(self, what: What) -> Iterator[Fault]:
        """The same for what was done, and what was found in the end."""
        match what:
            case Measured():
                yield from self._reading(what)
            case Mended():
                yield from self._part(what.part, what.remedy, ("part",))
            case Exchanged():
                yield from self._exchange(what)
            case AtHand():
                yield from self._tools(what.without)
            case Concluded():
                yield from self._causes(what.causes)

    def _run(self, what: Checked) -> Iterator[Fault]:
        yield from unknown(("check",), "a check", what.check, self.knowledge.checks)
        if len(what.pattern) != self.machine.rows:
            expected = f"{self.machine.rows} letters, one for each row"
            yield ("pattern",), Wrong(expected, str(len(what.pattern)))
        yield from self._values(what.circumstances, "circumstances", "run")

    def _values(
        self, values: Mapping[str, float | str | None] | Mapping[str, str], at: str, scope: str
    ) -> Iterator[Fault]:
        for name, value in values.items():
            yield from self._circumstance((at, name), name, value, scope)

    def _circumstance(
        self, path: tuple[str, ...], name: str, value: float | str | None, scope: str
    ) -> Iterator[Fault]:
        of_scope = [each.id for each in self.known.values() if each.scope == scope]
        what = "a circumstance of runs" if scope == "run" else "one of the machine's past"
        yield from unknown(path, what, name, of_scope)
        if name in of_scope and value is not None:
            yield from _value_faults(path, self.known[name], value)

    def _part(self, part: str, act: str, path: tuple[str, ...]) -> Iterator[Fault]:
        if act not in self._parts:
            self._parts[act] = parts_with(self.machine, act)
        yield from unknown(
            path, f"a part of {self.machine.id} that lists {quoted(act)}", part, self._parts[act]
        )

    def _reading(self, what: Measured) -> Iterator[Fault]:
        faults = list(self._part(what.part, what.measurement, ("part",)))
        yield from faults
        if faults:
            return
        listed = self.machine.parts[what.part].measurements
        known = [each for each in listed if each.id == what.measurement]
        if known:
            yield from _reading_faults(known[0], what.value)
        else:
            yield ("measurement",), Wrong("a measurement", quoted(what.measurement))

    def _exchange(self, what: Exchanged) -> Iterator[Fault]:
        faults = [
            *self._part(what.part, what.swap, ("part",)),
            *self._part(what.other, what.swap, ("with",)),
        ]
        yield from faults
        if faults:
            return
        parts = self.machine.parts
        if what.part == what.other or parts[what.part] != parts[what.other]:
            yield ("with",), Wrong("the like part of another row", quoted(what.other))

    def _tools(self, without: Iterable[str]) -> Iterator[Fault]:
        for nth, tool in enumerate(without):
            yield from unknown(("without", nth), "a tool", tool, get_args(Tool))

    def _causes(self, causes: Iterable[str]) -> Iterator[Fault]:
        for nth, cause in enumerate(causes):
            path = ("causes", nth)
            part, _, mode = cause.partition(":")
            if part.startswith("circumstances/"):
                name = part.removeprefix("circumstances/").partition("@")[0]
                yield from unknown(path, "a circumstance", name, self.knowledge.circumstances)
            elif part not in self.machine.parts:
                yield from unknown(path, f"a part of {self.machine.id}", part, self.machine.parts)
            else:
                modes = [each.id for each in self.machine.parts[part].modes]
                yield from unknown(path, f"a mode of {part}", mode, modes)


def _value_faults(
    path: tuple[str, ...], circumstance: Circumstance, value: float | str
) -> Iterator[Fault]:
    """A word for a number, a number for a word, one that is not among the choices or limits."""
    if circumstance.value == "choice":
        if value not in circumstance.choices:
            yield path, Wrong(" or ".join(circumstance.choices), quoted(value))
    elif isinstance(value, str):
        yield path, Wrong(f"{circumstance.name} as a number", quoted(value))
    elif circumstance.lowest is not None and circumstance.highest is not None:
        lowest, highest = circumstance.lowest, circumstance.highest
        if not lowest <= value <= highest:
            yield path, Wrong(f"{circumstance.name} from {lowest:g} to {highest:g}", f"{value:g}")


def _reading_faults(measurement: Measurement, value: float | str) -> Iterator[Fault]:
    if measurement.unit == "choice":
        if value not in YES_NO:
            yield ("value",), Wrong("yes or no", quoted(value))
        return
    if isinstance(value, str):
        yield ("value",), Wrong("a number", quoted(value))
        return
    lowest, highest = _limits(measurement)
    whole = measurement.unit != "code" or value.is_integer()
    if not lowest <= value <= highest or not whole:
        expected = f"{'a whole number' if measurement.unit == 'code' else 'a number'} "
        yield ("value",), Wrong(f"{expected}from {lowest:g} to {highest:g}", f"{value:g}")


def _limits(measurement: Measurement) -> tuple[float, float]:
    if measurement.unit == "code":
        return 0.0, float(LARGEST_CODE)
    sort = KINDS[UNIT_KINDS[measurement.unit]]
    return sort.lowest, sort.highest
