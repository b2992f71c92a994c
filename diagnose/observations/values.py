"""What a person may say of a circumstance, a reading or a place, as plain values.

Typed arguments, case files and answers are read by the functions here. What comes as a plain value
(events of a story) is held against `circumstance_fault` and `reading_fault`, which the readers ask
too: what one door refuses, every door refuses.
"""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.errors import near_matches, quoted
from diagnose.formats.units import (
    NO_CODE,
    QUANTITIES,
    UNIT_KINDS,
    quantity_fault,
    read_quantity,
    shown_quantity,
)
from diagnose.formats.value_problem import Wrong, unknown
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.circumstances import Circumstance
from diagnose.knowledge.parts import Measurement, PartKind, Remedy, Swap
from diagnose.machine.graph import Machine
from diagnose.observations.events import Reading, Remedied, Swapped, Work

YES_NO = ("yes", "no")
LARGEST_CODE = 31
NONE_STORED = "none"
DONE = "done"
_SEE = "rowfault explain valve for those of a valve"


def typeable(knowledge: Knowledge) -> Mapping[str, Circumstance]:
    """The circumstances about which something can be said.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> "oil" in typeable(load_knowledge()), "upset" in typeable(load_knowledge())
    (True, False)
    """
    known = knowledge.circumstances.values()
    return {each.id: each for each in known if each.value != "none"}


def circumstance_value(circumstance: Circumstance, text: str) -> float | str:
    """What was said: one of the choices, or a number in degrees Celsius or bar. Raises `Wrong`.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> circumstance_value(load_knowledge().circumstances["oil"], "54C")
    54.0
    """
    if circumstance.value == "choice":
        return _choice(text, circumstance.choices)
    number = read_quantity(text, circumstance.value)
    impossible = circumstance_fault(circumstance, number, quoted(text))
    if impossible is not None:
        raise impossible
    return number


def circumstance_fault(
    circumstance: Circumstance, value: float | str, got: str = ""
) -> Wrong | None:
    """What is wrong with a value of a circumstance; ``got`` is how it was written.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> oil = load_knowledge().circumstances["oil"]
    >>> circumstance_fault(oil, 54.0), circumstance_fault(oil, 1e90).expected
    (None, 'a temperature that is possible (from -273.15 to 2000 °C)')
    """
    if circumstance.value == "choice":
        fits = value in circumstance.choices
        return None if fits else Wrong(" or ".join(circumstance.choices), got or quoted(value))
    if circumstance.value == "none":
        return Wrong("a circumstance that can be noted", circumstance.id, "leave it out")
    if isinstance(value, str):
        return Wrong(f"a number ({UNIT_KINDS[circumstance.value].unit})", got or quoted(value))
    impossible = quantity_fault(value, circumstance.value, got)
    lowest, highest = circumstance.lowest, circumstance.highest
    if impossible or lowest is None or highest is None or lowest <= value <= highest:
        return impossible
    limits = [shown_quantity(limit, circumstance.value) for limit in (lowest, highest)]
    expected = f"{circumstance.name} from {limits[0]} to {limits[1]}"
    return Wrong(expected, got or f"{value:g}", "check the number and its unit")


def told_apart(circumstance: Circumstance, *values: float | str) -> list[str]:
    """Different things that were said of a circumstance, as finely as it takes.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> supply = load_knowledge().circumstances["supply"]
    >>> told_apart(supply, 62.0, 70.0), told_apart(supply, 62.0, 62.01)[1]
    (['62 bar (899 psi)', '70 bar (1015 psi)'], '62.01 bar (899.38 psi)')
    """
    for digits in (0, 2):
        shown = [
            value if isinstance(value, str) else shown_quantity(value, circumstance.value, digits)
            for value in values
        ]
        if len(set(shown)) == len(values):
            break
    return shown


def reading_of(
    machine: Machine, knowledge: Knowledge, measurement: str, place: str, text: str
) -> Reading:
    """What was read at a place of the machine. Raises `Wrong`.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> machine, knowledge = load_machine("mounted-6"), load_knowledge()
    >>> reading_of(machine, knowledge, "coil-resistance", "row-2", "7.4ohm").part
    'row-2/valve'
    """
    known = measurement_ids(knowledge)
    for _, wrong in unknown((), "a measurement", measurement, known, _SEE):
        raise wrong
    part = place_of(machine, measurement, place)
    return Reading(
        measurement, part, reading_value(machine.parts[part].measurement(measurement), text)
    )


def reading_value(measurement: Measurement, text: str) -> float | str:
    """What was read: ``yes`` or ``no`` for a look, else a number in the measurement's own unit.

    Raises `Wrong`.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> coil = load_knowledge().parts["valve"].measurement("coil-resistance")
    >>> reading_value(coil, "7.4ohm")
    7.4
    """
    if measurement.unit == "choice":
        return _choice(text, YES_NO)
    if measurement.unit == "code":
        return _code(text)
    return read_quantity(text, QUANTITIES[measurement.unit])


def reading_fault(measurement: Measurement, value: float | str) -> Wrong | None:
    """What is wrong with a value as what was read, in the measurement's own unit.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> coil = load_knowledge().parts["valve"].measurement("coil-resistance")
    >>> reading_fault(coil, 7.4), str(reading_fault(coil, "open"))
    (None, "expected a number (ohm), got 'open'")
    >>> str(reading_fault(coil, -5.0))
    'expected a resistance that is possible (from 0 to 1e+09 ohm), got -5 ohm'
    """
    if measurement.unit == "choice":
        return None if value in YES_NO else Wrong(" or ".join(YES_NO), quoted(value))
    if isinstance(value, str):
        return Wrong(f"a number ({measurement.unit})", quoted(value))
    if measurement.unit != "code":
        return quantity_fault(value, QUANTITIES[measurement.unit])
    if value == NO_CODE or (0 <= value <= LARGEST_CODE and value == int(value)):
        return None
    return Wrong(f"a whole number from 0 to {LARGEST_CODE}", quoted(value))


def _choice(text: str, choices: tuple[str, ...]) -> str:
    chosen = text.strip().lower()
    if chosen not in choices:
        near = near_matches(chosen, choices, most=1)
        remedy = f"did you mean {near[0]}?" if near else "leave it out when it is not known"
        raise Wrong(" or ".join(choices), quoted(text), remedy)
    return chosen


def _code(text: str) -> float:
    """A failure mode number, as control modules give it, or that none is stored."""
    digits = text.strip()
    if digits.lower() == NONE_STORED:
        return NO_CODE
    if not (
        digits.isascii() and digits.isdigit() and len(digits) <= 2 and int(digits) <= LARGEST_CODE
    ):
        raise Wrong(
            f"a whole number from 0 to {LARGEST_CODE}, or {NONE_STORED}",
            quoted(text),
            "give the failure mode number",
        )
    return float(digits)


def work_of(machine: Machine, knowledge: Knowledge, act: str, place: str, text: str) -> Work:
    """A remedy (``done``) or a swap (with what it changed places) at a place. Raises `Wrong`.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> machine, knowledge = load_machine("mounted-6"), load_knowledge()
    >>> work_of(machine, knowledge, "replace-coil", "row-2", "done").id
    'replace-coil@row-2/valve'
    >>> work_of(machine, knowledge, "swap-coil", "row-2", "row-3").id
    'swap-coil@row-2/valve+row-3/valve'
    """
    part = place_of(machine, act, place)
    if act in remedy_ids(knowledge):
        if text.strip().lower() != DONE:
            raise Wrong(DONE, quoted(text), f"write {act}@{part}={DONE} once it is done")
        return Remedied(act, part)
    other = place_of(machine, act, text.strip().lower())
    if other == part or machine.parts[other] != machine.parts[part]:
        raise Wrong(
            got=quoted(text),
            expected="the like part of another row",
            remedy=f"for example {_like(part)}",
        )
    return Swapped(act, part, other)


def _like(part: str) -> str:
    row = int(part.partition("/")[0].removeprefix("row-"))
    return f"row-{row - 1 if row > 1 else row + 1}"


def place_of(machine: Machine, act: str, place: str) -> str:
    """The part at which something was measured or done. Raises `Wrong`.

    ``place`` is a part id, or what stands before its slash when it can be done to only one part
    there.

    >>> from diagnose.machine.graph import load_machine
    >>> place_of(load_machine("mounted-6"), "coil-resistance", "row-2")
    'row-2/valve'
    """
    parts = parts_with(machine, act)
    if place in parts:
        return place
    here = [part for part in parts if part.partition("/")[0] == place]
    if len(here) == 1:
        return here[0]
    if here:
        raise Wrong(f"one of {' or '.join(here)}", quoted(place), "name the part")
    if not parts:
        raise Wrong(f"something that parts of {machine.id} list", quoted(act))
    raise Wrong(f"a part that lists {act}", quoted(place), _offer(place, parts))


def parts_with(machine: Machine, act: str) -> tuple[str, ...]:
    """The parts of a machine that list a measurement, remedy or swap, in the machine's order.

    >>> from diagnose.machine.graph import load_machine
    >>> parts_with(load_machine("mounted-6"), "supply-voltage")
    ('power/feed',)
    """
    return tuple(part for part, kind in machine.parts.items() if act in _acts(kind))


def _acts(kind: PartKind) -> set[str]:
    listed: list[Measurement | Remedy | Swap] = [*kind.measurements, *kind.remedies, *kind.swaps]
    return {each.id for each in listed}


def _offer(place: str, parts: tuple[str, ...]) -> str:
    places = [*parts, *dict.fromkeys(part.partition("/")[0] for part in parts)]
    near = near_matches(place, places)
    return f"did you mean {' or '.join(near)}?" if near else f"for example {parts[0]}"


def remedy_ids(knowledge: Knowledge) -> tuple[str, ...]:
    """Every remedy that some part kind lists, each once.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> known = remedy_ids(load_knowledge())
    >>> "replace-coil" in known, "swap-coil" in known, known.count("replace-hose")
    (True, False, 1)
    """
    kinds = knowledge.parts.values()
    return tuple(dict.fromkeys(each.id for kind in kinds for each in kind.remedies))


def swap_ids(knowledge: Knowledge) -> tuple[str, ...]:
    """Every swap that some part kind lists, each once.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> "swap-coil" in swap_ids(load_knowledge()), "replace-coil" in swap_ids(load_knowledge())
    (True, False)
    """
    kinds = knowledge.parts.values()
    return tuple(dict.fromkeys(each.id for kind in kinds for each in kind.swaps))


def measurement_ids(knowledge: Knowledge) -> tuple[str, ...]:
    """Every measurement that some part kind lists, each once.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> "coil-resistance" in measurement_ids(load_knowledge())
    True
    """
    kinds = knowledge.parts.values()
    return tuple(dict.fromkeys(each.id for kind in kinds for each in kind.measurements))
