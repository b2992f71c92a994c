"""Readings as facts, with what physics says a sound part would have shown."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from diagnose.knowledge.parts import Measurement
from diagnose.limits import MOST_TIMES
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.events import Reading, Run
from diagnose.reasoning.changes import worked_on
from diagnose.reasoning.finding import Fact, Value
from diagnose.reasoning.physics import contact_ohms, copper_ohms
from diagnose.reasoning.tally import Tally, last_by_check
from diagnose.reasoning.vocabulary import fact

LEAST_VOLTS = 1.0
"""Below this a contact is not bad but open."""

_ROOM_CELSIUS = 20.0
_WINDINGS = frozenset({"coil-resistance"})
"""Measurements of a copper winding. Other resistances are of resistors, which hardly change."""


def reading_facts(
    machine: Machine, case: Case, runs: Sequence[Run], touched: Sequence[frozenset[int]]
) -> Iterator[Fact]:
    """For each reading a fact, for a number that can be compared another, and one for each before.

    ``touched`` are the rows that each piece of work may have changed; what was seen on the other
    side of such work says nothing against a reading.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")  # whose coils have 8 ohm
    >>> case = read_typed(machine, ["coil-resistance@row-6=12ohm"])
    >>> [(each.kind, each.values.get("ratio")) for each in reading_facts(machine, case, (), ())]
    [('measured', None), ('compared', 1.5)]
    """
    yield from _repeated(machine, case.readings, touched)
    for nth, reading in enumerate(case.readings, start=1):
        measurement = machine.parts[reading.part].measurement(reading.measurement)
        about = _about(nth, machine, reading) | _row_of(machine, reading, runs, touched)
        if isinstance(reading.value, str):
            yield fact("looked", **about, choice=reading.value, bad=measurement.results[0].id)
            continue
        about |= {"number": reading.value, "unit": measurement.unit}
        yield fact("measured", **about)
        expected = expected_number(measurement, case.runs)
        scale = _feed(machine, case, reading, measurement)
        if expected:
            expected *= scale
        if expected:
            yield fact(
                "compared",
                **about,
                expected=expected,
                ratio=_times(reading.value, expected),
                allowed="no" if reading.value < _least(measurement) * scale else "yes",
                contact=_contact(machine, measurement, about, reading.value / scale),
            )


def _least(measurement: Measurement) -> float:
    return -math.inf if measurement.least is None else measurement.least


def _feed(machine: Machine, case: Case, reading: Reading, measurement: Measurement) -> float:
    """By what the last sound reading of the feed, in the same epoch, is above its nominal value.

    A running engine's alternator gives a battery of 12 V about 14 V. A feed that reads less than
    is sound is no scale: what it lacks is missing at the row too, and is to be seen there.
    """
    ratio = 1.0
    for other in case.readings:
        if other.measurement == measurement.scales_with and other.epoch == reading.epoch:
            feed = machine.parts[other.part].measurement(other.measurement)
            if isinstance(other.value, float) and feed.nominal and other.value >= _least(feed):
                ratio = max(1.0, _times(other.value, feed.nominal))
    return ratio


def _times(value: float, expected: float) -> float:
    """How many times what was expected a value is.

    >>> _times(12, 8), _times(1e9, 1e-300)
    (1.5, 1000000.0)
    """
    if abs(value) >= MOST_TIMES * abs(expected):
        return math.copysign(MOST_TIMES, value) * math.copysign(1, expected)
    return value / expected


def _contact(
    machine: Machine, measurement: Measurement, about: Mapping[str, Value], volts: float
) -> float:
    """Ohms of the bad contact that would explain the volts of one row; 0 when none can be told."""
    valve = machine.parts.get(f"row-{about['row']}/valve")
    coils = [one.nominal for one in valve.measurements if one.id in _WINDINGS] if valve else []
    if measurement.unit != "V" or measurement.nominal is None or not coils or volts < LEAST_VOLTS:
        return 0.0
    return max(0.0, contact_ohms(volts, measurement.nominal, coils[0] or 0.0))


def expected_number(measurement: Measurement, runs: Sequence[Run]) -> float | None:
    """What a sound part would show, or None when that cannot be said.

    A winding is taken to be as warm as the oil was last; a pressure without a nominal value
    should be the supply's, since a line that is held still loses nothing on the way.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> valve = load_knowledge().parts["valve"]
    >>> expected_number(valve.measurement("coil-resistance"), [])
    8.0
    """
    if measurement.id in _WINDINGS and measurement.nominal:
        return copper_ohms(measurement.nominal, _last(runs, "oil") or _ROOM_CELSIUS)
    if measurement.unit == "bar" and measurement.nominal is None:
        return _last(runs, "supply")
    return measurement.nominal


def _last(runs: Sequence[Run], circumstance: str) -> float | None:
    noted = [run.circumstances.get(circumstance) for run in runs]
    numbers = [value for value in noted if isinstance(value, (int, float))]
    return numbers[-1] if numbers else None


def _about(nth: int, machine: Machine, reading: Reading) -> dict[str, Value]:
    return {
        "nth": nth,
        "part": reading.part,
        "part_kind": machine.parts[reading.part].id,
        "measurement": reading.measurement,
    }


def _repeated(
    machine: Machine, readings: Sequence[Reading], touched: Sequence[frozenset[int]]
) -> Iterator[Fact]:
    """For each two readings of the same thing without work between, a fact."""
    for (earlier, one), (nth, other) in combinations(enumerate(readings, start=1), 2):
        same = (one.part, one.measurement) == (other.part, other.measurement)
        rows = machine.rows_of(one.part)
        if same and not worked_on(rows, touched, one.epoch, other.epoch):
            yield fact("repeated", nth=nth, earlier=earlier)


def _row_of(
    machine: Machine, reading: Reading, runs: Sequence[Run], touched: Sequence[frozenset[int]]
) -> dict[str, Value]:
    """The row that the part belongs to, if one, and what it last showed with no work between."""
    rows = machine.rows_of(reading.part)
    row = rows[0] if len(rows) == 1 else 0
    last = last_by_check(
        [run for run in runs if not worked_on([row], touched, run.epoch, reading.epoch)]
    )
    results: dict[str, Value] = {
        check: last.get(check, Tally()).word(row, machine.rows) for check in ("bleed", "response")
    }
    return {"row": row} | results
