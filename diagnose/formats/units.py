"""Quantities as people type them (``118F``, ``900psi``, ``7.4ohm``), and how to show them.

Inside the program every quantity has one unit: degrees Celsius, bar, ohm, volt, minutes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from diagnose.errors import near_matches, quoted
from diagnose.formats.value_problem import Wrong
from diagnose.record import record

OVER_RANGE_OHM = 1e6
"""What stands for a meter that shows no way through (``open`` or ``OL``)."""

NO_CODE = -1e6
"""What stands for a display that shows no stored number (``none``)."""

_BAR_PER_PSI = 0.45359237 * 9.80665 / 0.0254**2 / 1e5
_TYPED = re.compile(
    r"([-+]?[0-9]{1,20}(?:\.[0-9]{1,20})?(?:[eE][-+]?[0-9]{1,3})?)\s*([^\s0-9][^\s]{0,11})?"
)
"""A number as people or programs write it, with its unit."""

_SLACK = 1e-9
"""What converting between units may lose."""


@record
class Sort:
    """A sort of quantity: the unit it is kept in, what may be typed, what nature allows.

    ``units`` maps a typed unit to (factor, offset): kept = typed × factor + offset.
    """

    name: str
    unit: str
    example: str
    units: Mapping[str, tuple[float, float]]
    lowest: float
    highest: float


UNIT_KINDS: Mapping[str, Sort] = {
    "temperature": Sort(
        "a temperature",
        "°C",
        "48C or 118F",
        {"c": (1, 0), "f": (5 / 9, -160 / 9), "k": (1, -273.15)},
        -273.15,
        2000,
    ),
    "pressure": Sort(
        "a pressure",
        "bar",
        "62bar or 900psi",
        {"bar": (1, 0), "psi": (_BAR_PER_PSI, 0), "kpa": (0.01, 0), "mpa": (10, 0)},
        -1.01325,
        5000,
    ),
    "resistance": Sort(
        "a resistance",
        "ohm",
        "7.4ohm",
        {"ohm": (1, 0), "ohms": (1, 0), "kohm": (1e3, 0), "mohm": (1e6, 0), "Ω": (1, 0)},
        0,
        1e9,
    ),
    "voltage": Sort("a voltage", "V", "10.9V", {"v": (1, 0), "mv": (1e-3, 0)}, -1000, 1000),
    "time": Sort(
        "a time",
        "minutes",
        "12min",
        {"min": (1, 0), "h": (60, 0), "s": (1 / 60, 0)},
        0,
        100_000,
    ),
}

QUANTITIES: Mapping[str, str] = {"ohm": "resistance", "V": "voltage", "bar": "pressure"}
"""By unit of a measurement, which sort of quantity it is."""


def read_quantity(text: str, kind: str) -> float:
    """The number that was typed, in the unit of its ``kind`` (in `UNIT_KINDS`). Raises `Wrong`.

    Missing and unknown units are refused, and so is what nature forbids (`quantity_fault`).

    >>> round(read_quantity("118F", "temperature"), 2)
    47.78
    >>> round(read_quantity("900 psi", "pressure"), 2)
    62.05
    >>> read_quantity("OL", "resistance") == OVER_RANGE_OHM
    True
    """
    sort = UNIT_KINDS[kind]
    if kind == "resistance" and text.strip().lower() in ("ol", "open"):
        return OVER_RANGE_OHM
    match = _TYPED.fullmatch(text.strip())
    if not match:
        raise Wrong(f"{sort.name} such as {sort.example}", repr(text[:40]))
    factor, offset = _factors(sort, match[1], match[2])
    number = float(match[1]) * factor + offset
    impossible = quantity_fault(number, kind, quoted(text.strip()))
    if impossible is not None:
        raise impossible
    return number


def quantity_fault(number: float, kind: str, got: str = "") -> Wrong | None:
    """What is wrong with a number in the unit of its ``kind``: that nature forbids it.

    ``got`` is how it was written, where it was.

    >>> str(quantity_fault(-5.0, "resistance")), quantity_fault(7.4, "resistance")
    ('expected a resistance that is possible (from 0 to 1e+09 ohm), got -5 ohm', None)
    """
    sort = UNIT_KINDS[kind]
    if sort.lowest - _SLACK <= number <= sort.highest:
        return None
    limits = f"from {sort.lowest:g} to {sort.highest:g} {sort.unit}"
    return Wrong(
        f"{sort.name} that is possible ({limits})",
        got or f"{number:g} {sort.unit}",
        "check the number and its unit",
    )


def _factors(sort: Sort, number: str, unit: str | None) -> tuple[float, float]:
    if unit is None:
        units = " or ".join(f"{number}{unit}" for unit in _written(sort)[:3])
        raise Wrong(f"{sort.name} with its unit", repr(number), f"write {units}")
    plain = unit.removeprefix("°").lower().replace("ω", "Ω").replace("kΩ", "kohm")
    if plain not in sort.units:
        near = near_matches(plain, sort.units, most=1)
        known = ", ".join(_written(sort))
        remedy = f"did you mean {_spelt(near[0])}?" if near else f"known: {known}"
        raise Wrong(f"a unit of {sort.name.removeprefix('a ')}", repr(unit), remedy)
    return sort.units[plain]


def _written(sort: Sort) -> list[str]:
    return [_spelt(unit) for unit in sort.units]


def _spelt(unit: str) -> str:
    spelt = {"c": "C", "f": "F", "k": "K", "kpa": "kPa", "mpa": "MPa", "v": "V", "mv": "mV"}
    return spelt.get(unit, unit)


def shown_quantity(number: float, kind: str, digits: int = 0) -> str:
    """A quantity for people, in both systems where the trade uses both.

    Temperatures and pressures are whole numbers; ``digits`` tells near ones apart.

    >>> shown_quantity(47.78, "temperature"), shown_quantity(62.05, "pressure")
    ('48 °C (118 °F)', '62 bar (900 psi)')
    >>> shown_quantity(7.4, "resistance")
    '7.4 ohm'
    >>> shown_quantity(62.05, "pressure", digits=2)
    '62.05 bar (899.96 psi)'
    """
    if kind == "temperature":
        return f"{number:.{digits}f} °C ({number * 9 / 5 + 32:.{digits}f} °F)"
    if kind == "pressure":
        return f"{number:.{digits}f} bar ({number / _BAR_PER_PSI:.{digits}f} psi)"
    if kind == "resistance" and number >= OVER_RANGE_OHM:
        return "open (over the meter's range)"
    return f"{number:.3g} {UNIT_KINDS[kind].unit}"
