"""What is typed after the machine's name becomes the case that was meant, or clear problems."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.errors import FileProblems
from diagnose.formats.units import NO_CODE
from diagnose.machine.graph import Machine, load_machine
from diagnose.observations.case import Case
from diagnose.observations.typed import read_typed


@pytest.fixture(scope="module")
def machine() -> Machine:
    return load_machine("mounted-6")


def told(machine: Machine, text: str) -> Case:
    return read_typed(machine, text.split())


def test_repeated_checks_are_runs_of_their_own_in_order(machine: Machine) -> None:
    case = told(machine, "response=PPPPPF bleed=PPPPPP response=....PP")
    assert [(run.index, run.check, run.pattern) for run in case.runs] == [
        (1, "response", "PPPPPF"),
        (2, "bleed", "PPPPPP"),
        (3, "response", "....PP"),
    ]


def test_circumstances_belong_to_the_run_before_them(machine: Machine) -> None:
    first, second = told(machine, "bleed=PPPPPP oil=20C response=PPPPPP oil=50C").runs
    assert (first.circumstances, second.circumstances) == ({"oil": 20}, {"oil": 50})


def test_circumstances_typed_first_belong_to_all_runs(machine: Machine) -> None:
    first, second = told(machine, "engine=on oil=20C bleed=PPPPPP response=PPPPPP oil=50C").runs
    assert first.circumstances == {"engine": "on", "oil": 20}
    assert second.circumstances == {"engine": "on", "oil": 50}


def test_circumstances_typed_first_reach_runs_that_were_known_before(machine: Machine) -> None:
    before = told(machine, "bleed=PPPPPP response=PPPPPP engine=off")
    bleed, response = read_typed(machine, ["engine=on"], before=before).runs
    assert (bleed.circumstances["engine"], response.circumstances["engine"]) == ("on", "off")


def test_keys_may_be_written_carelessly(machine: Machine) -> None:
    (run,) = told(machine, "BLEED=pppppp Bleed_Hose=Fitted").runs
    assert (run.check, run.circumstances) == ("bleed", {"bleed-hose": "fitted"})


@pytest.mark.parametrize(
    ("typed", "part", "value"),
    [
        ("coil-resistance@row-6/valve=7.4ohm", "row-6/valve", 7.4),
        ("coil-resistance@row-6=7.4ohm", "row-6/valve", 7.4),
        ("valve-code@row-6=5", "row-6/valve", 5),
        ("sensor-code@row-6=none", "row-6/sensor", NO_CODE),
        ("look-leak@row-6/valve=yes", "row-6/valve", "yes"),
    ],
)
def test_readings_find_their_part(
    machine: Machine, typed: str, part: str, value: float | str
) -> None:
    (reading,) = told(machine, typed).readings
    assert (reading.part, reading.value) == (part, value)


def test_units_of_either_system_mean_the_same(machine: Machine) -> None:
    metric, imperial = told(machine, "bleed=PPPPPP oil=50C bleed=PPPPPP oil=122F").runs
    assert metric.circumstances["oil"] == pytest.approx(imperial.circumstances["oil"])


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        (
            "PPPPPF",
            "PPPPPF: expected NAME=VALUE, got 'PPPPPF'; write response=PPPPPF or bleed=PPPPPF",
        ),
        ("engine", "engine: expected NAME=VALUE, got 'engine'; write engine=..."),
        ("warm", "warm: expected NAME=VALUE, got 'warm'; write for example oil=54C"),
        (
            "respons=PPPPPP",
            "respons=PPPPPP: expected a check, a circumstance or ACT@PLACE, "
            "got 'respons'; did you mean response?",
        ),
        ("engine=of", "engine=of: expected on or off, got 'of'; did you mean off?"),
        (
            "moving=perhaps",
            "moving=perhaps: expected no or yes, got 'perhaps'; leave it out when it is not known",
        ),
        (
            "oil=54",
            "oil=54: expected a temperature with its unit, got '54'; write 54C or 54F or 54K",
        ),
        (
            "oil=500C",
            "oil=500C: expected oil temperature from -60 °C (-76 °F) to 200 °C (392 °F), "
            "got '500C'; check the number and its unit",
        ),
        (
            "oil=20C oil=30C",
            "oil=30C: expected oil once for each run, "
            "got 20 °C (68 °F) before and 30 °C (86 °F) now; keep one of them",
        ),
        (
            "supply=900psi supply=62bar",
            "supply=62bar: expected supply once for each run, got 62 bar (900 psi) before and "
            "62 bar (899 psi) now; keep one of them",
        ),
        (
            "xyzzy=3",
            "xyzzy=3: expected a check, a circumstance or ACT@PLACE, got 'xyzzy'; for "
            "example bleed, bleed-again@, bleed-hose, branch-voltage@, bus-resistance@, "
            "calibrate-sensor@; see rowfault rank --help",
        ),
        (
            "coil-resistanse@row-6=7ohm",
            "coil-resistanse@row-6=7ohm: expected a measurement, got 'coil-resistanse'; "
            "did you mean coil-resistance or bus-resistance?",
        ),
        (
            "coil-resistance@row-7=7ohm",
            "coil-resistance@row-7=7ohm: expected a part that lists coil-resistance, "
            "got 'row-7'; did you mean row-6 or row-5 or row-4?",
        ),
        (
            "look-leak@row-6=yes",
            "look-leak@row-6=yes: expected one of row-6/hose or row-6/valve or row-6/cylinder, "
            "got 'row-6'; name the part",
        ),
        (
            "valve-code@row-6=77",
            "valve-code@row-6=77: expected a whole number from 0 to 31, or none, got '77'; "
            "give the failure mode number",
        ),
        (
            "look-leak@row-6/valve=wet",
            "look-leak@row-6/valve=wet: expected yes or no, got 'wet'; "
            "leave it out when it is not known",
        ),
    ],
)
def test_a_bad_argument_says_what_to_type(machine: Machine, typed: str, message: str) -> None:
    with pytest.raises(FileProblems) as caught:
        told(machine, typed)
    assert str(caught.value) == message


def test_all_problems_of_a_line_come_at_once(machine: Machine) -> None:
    with pytest.raises(FileProblems) as caught:
        told(machine, "bleed=PPX oil=54 response=fail:9,pass:rest enigne=on")
    places = [str(problem.where) for problem in caught.value.problems]
    line = ["bleed=PPX", "bleed=PPX", "oil=54", "response=fail:9,pass:rest", "enigne=on"]
    assert places == line


KEYS = ["bleed", "response", "oil", "first-hookup", "coil-resistance@row-1", "look-leak@supply"]
SIGNS = ["=", "@", ":", ",", "-", "?"]
VALUES = ["PPPPPF", "fail:1", "pass:rest", "fail:²", "54C", "900psi", "yes", "7ohm"]
PIECES = st.sampled_from([*KEYS, *SIGNS, *VALUES]) | st.just("=") | st.text(max_size=4)
ARGUMENTS = st.lists(st.lists(PIECES, max_size=4).map("".join))


@pytest.mark.slow
@settings(max_examples=500)
@given(arguments=ARGUMENTS)
def test_any_line_is_read_or_refused_politely(machine: Machine, arguments: list[str]) -> None:
    with suppress(FileProblems):
        assert read_typed(machine, arguments).machine == machine.id


def test_work_begins_an_epoch_for_what_is_typed_after_it() -> None:
    case = read_typed(
        load_machine("mounted-6"),
        ["response=PPPPPF", "swap-coil@row-6=row-5", "response=....FP", "replace-coil@row-5=done"],
    )
    assert [run.epoch for run in case.runs] == [0, 1]
    assert [work.id for work in case.work] == [
        "swap-coil@row-6/valve+row-5/valve",
        "replace-coil@row-5/valve",
    ]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("replace-coil@row-6=yes", "expected done"),
        ("swap-coil@row-6=row-6", "the like part of another row"),
        ("swap-coil@row-6=supply/coupler", "a part that lists swap-coil"),
        ("replace-coil@row-9=done", "a part that lists replace-coil"),
    ],
)
def test_work_that_cannot_be_is_refused(typed: str, said: str) -> None:
    with pytest.raises(FileProblems, match=said):
        read_typed(load_machine("mounted-6"), ["response=PPPPPF", typed])


def test_a_line_break_in_an_argument_stays_in_its_line(machine: Machine) -> None:
    with pytest.raises(FileProblems) as caught:
        read_typed(machine, ["oil=5\n4C"])
    assert str(caught.value).startswith(r"oil=5\n4C: expected a temperature")


def test_a_long_argument_is_not_repeated_whole(machine: Machine) -> None:
    with pytest.raises(FileProblems) as caught:
        read_typed(machine, ["response=" + "Z" * 500])
    lines = str(caught.value).splitlines()
    assert (len(lines), max(map(len, lines)) < 250) == (5, True)
    assert "expected no other letters, got 497 more letters of that sort" in lines[3]
