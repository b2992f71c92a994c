"""Whatever is said of a circumstance, a reading or a place is understood, or refused in a line."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.errors import Place
from diagnose.formats.units import NO_CODE, OVER_RANGE_OHM
from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.values import (
    circumstance_fault,
    circumstance_value,
    place_of,
    reading_fault,
    reading_of,
    reading_value,
    work_of,
)

KNOWN, MACHINE = load_knowledge(), load_machine("mounted-6")
OIL, SUPPLY, ENGINE, HOOKED = (
    KNOWN.circumstances[name] for name in ("oil", "supply", "engine", "first-hookup")
)
VALVE, FEED = KNOWN.parts["valve"], KNOWN.parts["power-feed"]
COIL, CODE = VALVE.measurement("coil-resistance"), VALVE.measurement("valve-code")
VOLTS = FEED.measurement("supply-voltage")
LOOK = next(one for one in VALVE.measurements if one.unit == "choice")

DOORS: dict[str, Callable[[str], object]] = {
    "oil": lambda text: circumstance_value(OIL, text),
    "supply": lambda text: circumstance_value(SUPPLY, text),
    "engine": lambda text: circumstance_value(ENGINE, text),
    "first-hookup": lambda text: circumstance_value(HOOKED, text),
    "ohms": lambda text: reading_value(COIL, text),
    "volts": lambda text: reading_value(VOLTS, text),
    "code": lambda text: reading_value(CODE, text),
    "look": lambda text: reading_value(LOOK, text),
    "what was read": lambda text: reading_of(MACHINE, KNOWN, text, "row-2", "7.4ohm"),
    "where it was read": lambda text: reading_of(MACHINE, KNOWN, COIL.id, text, "7.4ohm"),
    "what was done": lambda text: work_of(MACHINE, KNOWN, text, "row-2", "done"),
    "where it was done": lambda text: work_of(MACHINE, KNOWN, "replace-coil", text, "done"),
    "that it was done": lambda text: work_of(MACHINE, KNOWN, "replace-coil", "row-2", text),
    "swapped with": lambda text: work_of(MACHINE, KNOWN, "swap-coil", "row-2", text),
    "place": lambda text: place_of(MACHINE, "replace-coil", text),
}

SUSPICIOUS = {
    "nothing": "",
    "blanks": " \t ",
    "a null": "5\0C",
    "an escape": "5\x1b[31mC",
    "a line break": "54\nC",
    "half a character": "5\udc80C",
    "right to left": "\u202e54C",
    "no width": "5\u200b4C",
    "fullwidth": "\uff15\uff14\uff23",
    "other digits": "\u0665\u0664C",
    "a small two": "5\u00b2C",
    "a fraction": "\u00bdohm",
    "a true minus": "\u22125C",
    "two signs": "--5C",
    "a decimal comma": "7,4ohm",
    "a thousands comma": "1,000psi",
    "an underscore": "5_4C",
    "hexadecimal": "0x36C",
    "two points": "5.4.1ohm",
    "a bare point": ".5ohm",
    "two units": "54CF",
    "two numbers": "54C 55C",
    "infinite": "inf",
    "no number": "nan",
    "too large for a float": "1e999ohm",
    "too small for a float": "1e-999ohm",
    "an endless number": "9" * 5000 + "C",
    "an endless exponent": "1e" + "9" * 5000 + "C",
    "an endless word": "x" * 100_000,
    "a path": "../../etc/passwd",
    "braces": "{row.valve}",
    "a template": "%s%n",
    "a part of another row": "row-7/valve",
    "no row": "row-0",
    "a row with zeros": "row-02",
    "a row below none": "row--1",
    "slashes": "row-2/valve/valve",
    "a slash": "/",
    "true": "true",
    "null": "null",
    "a list": "['yes']",
    "below absolute zero": "-300C",
    "a code too many": "32",
    "half a code": "3.5",
    "a code below none": "-1",
    "the number for no code": f"{NO_CODE:g}",
}


@pytest.mark.parametrize("door", DOORS.values(), ids=DOORS.keys())
@pytest.mark.parametrize("text", SUSPICIOUS.values(), ids=SUSPICIOUS.keys())
def test_what_is_suspicious_is_refused_in_one_short_line(
    door: Callable[[str], object], text: str
) -> None:
    try:
        door(text)
    except Wrong as wrong:
        told = str(wrong.at(Place("what was said")))
        assert told.isprintable()
        assert len(told) < 400
    else:
        assert (door, text) in TAKEN


TAKEN = {
    (DOORS["ohms"], "1e-999ohm"),
    (DOORS["oil"], "54\nC"),
}
"""What looks odd and has one plain meaning."""

UNDERSTOOD = [
    ("oil", " 54 C ", 54.0),
    ("oil", "54\u00b0C", 54.0),
    ("oil", "1.2e1C", 12.0),
    ("engine", " ON ", "on"),
    ("ohms", "OL", OVER_RANGE_OHM),
    ("ohms", "7.4\u03a9", 7.4),
    ("ohms", "7.4 k\u03a9", 7400.0),
    ("ohms", "0ohm", 0.0),
    ("code", "none", NO_CODE),
    ("code", "07", 7.0),
    ("look", "Yes", "yes"),
]


@pytest.mark.parametrize(("door", "text", "value"), UNDERSTOOD)
def test_what_has_one_plain_meaning_is_understood(door: str, text: str, value: object) -> None:
    assert DOORS[door](text) == value


@given(st.text(max_size=20))
def test_what_is_understood_is_possible(text: str) -> None:
    for name, circumstance in (("oil", OIL), ("supply", SUPPLY), ("engine", ENGINE)):
        try:
            value = DOORS[name](text)
        except Wrong:
            continue
        assert circumstance_fault(circumstance, value) is None
    for name, one in (("ohms", COIL), ("volts", VOLTS), ("code", CODE), ("look", LOOK)):
        try:
            value = DOORS[name](text)
        except Wrong:
            continue
        assert reading_fault(one, value) is None
