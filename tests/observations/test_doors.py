"""What one door refuses, every door refuses: typed, case file, story, answer to a prompt."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.errors import FileProblems, InputError
from diagnose.formats.strictyaml import read_text
from diagnose.formats.units import NO_CODE, QUANTITIES, UNIT_KINDS
from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.parts import Measurement
from diagnose.machine.graph import load_machine
from diagnose.observations.archive import read_story
from diagnose.observations.case import Case
from diagnose.observations.casefile import read_case
from diagnose.observations.entries import Opened, new_event
from diagnose.observations.events import Reading, Run
from diagnose.observations.result import Result
from diagnose.observations.state import replay
from diagnose.observations.typed import parse_statements, read_typed
from diagnose.observations.values import NONE_STORED, circumstance_fault, reading_fault, typeable
from diagnose.rules.conclude import conclude_case
from tests.observations.writing import case_text

KNOWN, MACHINE = load_knowledge(), load_machine("mounted-6")
STATE = replay([new_event(Opened(case="20260301-a", machine="mounted-6"), "A")])
EVERY: Mapping[str, tuple[str, Measurement]] = {
    f"{one.id}@{part}": (part, one)
    for part, kind in MACHINE.parts.items()
    for one in kind.measurements
    if not part.startswith("row-") or part.startswith("row-2/")
}
UNITS = {"ohm": "ohm", "V": "V", "bar": "bar", "temperature": "C", "pressure": "bar"}
NUMBERS = st.floats(allow_nan=False, allow_infinity=False) | st.sampled_from(
    [-5.0, 1e90, -0.0, 0.0, 1e9, 1e9 + 1, 5000.0, 5000.1, -1.01325, 200.0, 31.0, 32.0, 3.5, NO_CODE]
)
WORDS = st.sampled_from(["yes", "no", "maybe", "on", "off", "fitted", "54"])
IMPOSSIBLE = [("coil-resistance@row-2/valve", -5.0), ("coil-resistance@row-2/valve", 1e90)]


def plain(value: float | str, unit: str) -> str:
    """The value as somebody would write it."""
    if isinstance(value, str):
        return value
    if unit == "code":
        return NONE_STORED if value == NO_CODE else repr(value + 0.0).removesuffix(".0")
    return f"{value!r}{UNITS.get(unit, '')}"


def accepted(read: Callable[[], object]) -> bool:
    try:
        read()
    except (FileProblems, InputError, Wrong):
        return False
    return True


def in_story(what: Mapping[str, object]) -> bool:
    """Whether a story that tells this is read."""
    opening = {"kind": "opened", "case": "20260301-a", "machine": "mounted-6"}
    events = [
        {"id": f"{place:032x}", "at": "2026-03-01T00:00:00Z", "who": "A", "what": each}
        for place, each in enumerate((opening, what))
    ]
    text = json.dumps({"schema": "rowfault/case/1", "events": events})
    return accepted(lambda: read_story(read_text(text, "a.json"), KNOWN))


def in_file(**told: object) -> bool:
    text = json.dumps({"machine": "mounted-6", **told})
    return accepted(lambda: read_case(read_text(text, "case.json"), KNOWN))


def typed(word: str) -> tuple[bool, bool]:
    """Whether a word is taken on the command line, and at a prompt."""
    return (
        accepted(lambda: read_typed(MACHINE, [word], KNOWN)),
        accepted(lambda: parse_statements([word], {}, MACHINE, KNOWN)),
    )


def reading_doors(at: str, value: float | str) -> set[bool]:
    part, one = EVERY[at]
    text = plain(value, one.unit)
    event = {"kind": "reading", "measurement": one.id, "part": part, "value": value}
    entry = {"measurement": one.id, "part": part, "value": text}
    return {*typed(f"{at}={text}"), in_story(event), in_file(readings=[entry])}


@given(st.sampled_from(sorted(EVERY)), NUMBERS | WORDS)
def test_every_door_takes_or_refuses_a_reading_alike(at: str, value: float | str) -> None:
    assert reading_doors(at, value) == {reading_fault(EVERY[at][1], value) is None}


def run_at(oil: float, supply: float) -> Case:
    results = (*5 * (Result.PASS,), Result.FAIL)
    return Case("mounted-6").then(Run(0, "bleed", results, {"oil": oil, "supply": supply}))


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    """A reading that every door takes."""
    part, one = EVERY[draw(st.sampled_from(sorted(EVERY)))]
    if one.unit in QUANTITIES:
        sort = UNIT_KINDS[QUANTITIES[one.unit]]
        value = draw(st.floats(sort.lowest, sort.highest))
    else:
        some = ["yes", "no"] if one.unit == "choice" else [NO_CODE, -0.0, 0.0, 5.0, 31.0]
        value = draw(st.sampled_from(some))
    assert reading_fault(one, value) is None
    return Reading(one.id, part, value)


@settings(max_examples=50)
@given(readings(), st.sampled_from([run_at(-60.0, 0.0), run_at(200.0, 700.0), Case("mounted-6")]))
def test_whatever_is_taken_is_concluded_from_and_written_again(
    reading: Reading, case: Case
) -> None:
    case = case.then(reading)
    conclude_case(MACHINE, case, KNOWN)
    text = case_text(case, MACHINE, KNOWN)
    assert read_case(read_text(text, "case.yaml"), KNOWN)[1] == case


@pytest.mark.parametrize(("at", "value"), IMPOSSIBLE)
def test_no_door_takes_what_cannot_be_read(at: str, value: float) -> None:
    assert reading_doors(at, value) == {False}


@given(st.sampled_from(sorted(typeable(KNOWN))), NUMBERS | WORDS)
def test_every_door_takes_or_refuses_a_circumstance_alike(name: str, value: float | str) -> None:
    circumstance = typeable(KNOWN)[name]
    text = plain(value, circumstance.value)
    if circumstance.scope == "case":
        event = {"kind": "history", "values": {name: str(value)}}
        doors = {in_file(history={name: text}), in_story(event)}
    else:
        run = {"check": "bleed", "pattern": "PPPPPP", "circumstances": {name: text}}
        of_run = {"kind": "run", **run, "circumstances": {name: value}}
        from_now = {"kind": "circumstances", "values": {name: value}}
        doors = {in_file(runs=[run]), in_story(of_run), in_story(from_now)}
    doors |= {*typed(f"{name}={text}")}
    assert doors == {circumstance_fault(circumstance, value) is None}


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_no_door_takes_what_is_no_number(value: float) -> None:
    assert all(reading_fault(one, value) for _, one in EVERY.values())
    assert all(circumstance_fault(one, value) for one in typeable(KNOWN).values())
