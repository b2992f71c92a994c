"""Facts of readings, and of what changed between two runs of the same check."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations

from diagnose.knowledge.parts import Measurement
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.events import Reading, Run, Swapped, Work
from diagnose.observations.result import Result
from diagnose.rules.finding import Fact, FactValue
from diagnose.rules.rowmasks import Tally, last_by_check
from diagnose.rules.vocabulary import fact
from diagnose.tolerances import MOST_TIMES

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
    machine: Machine, measurement: Measurement, about: Mapping[str, FactValue], volts: float
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


def _about(nth: int, machine: Machine, reading: Reading) -> dict[str, FactValue]:
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
) -> dict[str, FactValue]:
    """The row that the part belongs to, if one, and what it last showed with no work between."""
    rows = machine.rows_of(reading.part)
    row = rows[0] if len(rows) == 1 else 0
    last = last_by_check(
        [run for run in runs if not worked_on([row], touched, run.epoch, reading.epoch)]
    )
    results: dict[str, FactValue] = {
        check: last.get(check, Tally()).word(row, machine.rows) for check in ("bleed", "response")
    }
    return {"row": row} | results


REFERENCE_CELSIUS = 49.0
"""Both checks want oil at least this warm (120 °F); common practice, no source."""

COPPER_PER_KELVIN = 0.00393
"""Rise of the resistance of annealed copper per kelvin, referred to 20 °C (NBS Handbook 100)."""

WIRE_OHMS = 0.255
"""Both ways of 20 ft of 18-gauge copper: 40 ft at 6.385 ohm for 1000 ft (ASTM B258 tables)."""

_KELVIN = 273.15
_VG46_VI100 = (46.0, 6.76)
"""Kinematic viscosity in mm²/s at 40 and at 100 °C of ISO VG 46 oil with viscosity index 100
(ISO 3448 for the first, ASTM D2270 solved for the second)."""


def viscosity(
    celsius: float, at_40: float = _VG46_VI100[0], at_100: float = _VG46_VI100[1]
) -> float:
    """Kinematic viscosity in mm²/s from its values at 40 and 100 °C, by the law of ASTM D341.

    Log-log of (viscosity + 0.7) is a straight line over the log of absolute temperature.
    Valid above the cloud point; real oil below 0 °C is thicker still.

    >>> round(viscosity(80, 32, 5.4), 1)
    8.5
    """
    high, low = _loglog(at_40), _loglog(at_100)
    warm, hot = math.log10(40 + _KELVIN), math.log10(100 + _KELVIN)
    slope = (high - low) / (warm - hot)
    level = high + slope * (math.log10(celsius + _KELVIN) - warm)
    return float(10**10**level) - 0.7


def _loglog(viscosity: float) -> float:
    return math.log10(math.log10(viscosity + 0.7))


def thickness(celsius: float) -> float:
    """How many times as thick VG 46 oil is at this temperature as at 49 °C.

    >>> round(thickness(49), 2), round(thickness(20), 1)
    (1.0, 4.3)
    """
    return viscosity(celsius) / viscosity(REFERENCE_CELSIUS)


def copper_ohms(at_20: float, celsius: float) -> float:
    """Resistance of a copper winding at a temperature, from its resistance at 20 °C.

    >>> round(copper_ohms(8.0, 80), 3)
    9.886
    """
    return at_20 * (1 + COPPER_PER_KELVIN * (celsius - 20))


def contact_ohms(volts: float, expected: float, coil_ohms: float) -> float:
    """Resistance in ohm of the one bad contact that would leave ``volts`` of what is expected.

    Coil, wire and contact are in line, so the current and with it every voltage behind the
    contact falls as the resistance of the whole rises (Ohm's law).

    >>> round(contact_ohms(10.96, 11.63, 8.0), 1)
    0.5
    """
    return (coil_ohms + WIRE_OHMS) * (expected / volts - 1)


_SAME = 5.0
_SAME_SHARE = 0.1
"""Numbers noted for two runs are the same within 5 degrees or bar, or a tenth; judgement."""


def change_facts(runs: Sequence[Run], touched: Sequence[frozenset[int]] = ()) -> Iterator[Fact]:
    """A fact for each row whose result differs from the one it had in the same check before.

    ``touched`` are the rows that each piece of work may have changed: no wonder that these differ
    afterwards.

    >>> runs = [Run(1, "bleed", (Result.FAIL,)), Run(2, "bleed", (Result.PASS,))]
    >>> next(change_facts(runs)).values["first"]
    'fail'
    """
    numbered = {run.index: run for run in runs}
    before: dict[tuple[str, int], Run] = {}
    for run in runs:
        known = [
            (row, result)
            for row, result in enumerate(run.results, start=1)
            if result in (Result.PASS, Result.FAIL)
        ]
        changed: dict[tuple[int, bool], list[int]] = {}
        for row, result in known:
            earlier = before.get((run.check, row))
            if earlier and worked_on([row], touched, earlier.epoch, run.epoch):
                earlier = None
            if earlier and earlier.results[row - 1] is not result:
                changed.setdefault((earlier.index, result is Result.FAIL), []).append(row)
            before[run.check, row] = run
        for (index, failed_now), rows in changed.items():
            yield from _change_facts(run, numbered[index], rows, failed_now)


def worked_on(rows: Iterable[int], touched: Sequence[frozenset[int]], one: int, other: int) -> bool:
    """Whether work between two epochs, in either order, may have changed any of some rows.

    >>> worked_on([6], [frozenset({6})], 1, 0), worked_on([6], [frozenset({6})], 1, 1)
    (True, False)
    """
    wanted = frozenset(rows)
    return any(not wanted.isdisjoint(done) for done in touched[min(one, other) : max(one, other)])


def rows_touched(machine: Machine, work: Sequence[Work]) -> tuple[frozenset[int], ...]:
    """The rows that each piece of work may have changed: those that depend on what was worked on.

    >>> from diagnose.observations.events import Swapped
    >>> from diagnose.machine.graph import load_machine
    >>> swap = Swapped("swap-coil", "row-6/valve", "row-5/valve")
    >>> sorted(rows_touched(load_machine("mounted-6"), [swap])[0])
    [5, 6]
    """
    parts = [(w.part, w.other) if isinstance(w, Swapped) else (w.part,) for w in work]
    return tuple(frozenset(row for p in each for row in machine.rows_of(p)) for each in parts)


def _change_facts(run: Run, earlier: Run, rows: Sequence[int], failed_now: bool) -> Iterator[Fact]:
    for row in rows:
        yield fact(
            "changed",
            check=run.check,
            row=row,
            passed_run=earlier.index if failed_now else run.index,
            failed_run=run.index if failed_now else earlier.index,
            first="pass" if failed_now else "fail",
            rows=len(rows),
            lowest="yes" if row == rows[0] else "no",
            alike="yes" if _alike(run, earlier) else "no",
        )


def _alike(one: Run, other: Run) -> bool:
    """Whether nothing that was noted for both runs differs."""
    return all(
        _same(one.circumstances[name], other.circumstances[name])
        for name in one.circumstances.keys() & other.circumstances.keys()
    )


def _same(one: float | str, other: float | str) -> bool:
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    return abs(one - other) <= max(_SAME, _SAME_SHARE * max(abs(one), abs(other)))
