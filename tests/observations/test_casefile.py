"""A case file tells the same story as the command line, and errors have lines."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.errors import FileProblems
from diagnose.formats.strictyaml import read_text
from diagnose.formats.units import NO_CODE
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.case import Case
from diagnose.observations.casefile import read_case, read_case_file
from diagnose.observations.events import Reading, Run
from diagnose.observations.result import Result
from diagnose.observations.typed import read_typed
from tests.observations.writing import case_text

MACHINE = load_machine("mounted-6")
STORY = """\
machine: mounted-6
history: {rehooked: "yes"}
circumstances: {engine: "on"}
runs:
  - check: bleed
    rows: {fail: 6, pass: rest}
  - check: response
    pattern: PPPPPF
    circumstances: {oil: 54 C}
readings:
  - {measurement: coil-resistance, part: row-6, value: 7.4 ohm}
"""
TYPED = (
    "engine=on rehooked=yes bleed=fail:6,pass:rest response=PPPPPF oil=54C "
    "coil-resistance@row-6=7.4ohm"
)


def read(text: str) -> Case:
    return read_case(read_text(text, "case.yaml"), load_knowledge())[1]


def test_a_case_file_tells_what_would_be_typed() -> None:
    assert read(STORY) == read_typed(MACHINE, TYPED.split())


def test_json_tells_the_same(tmp_path: Path) -> None:
    story = {"machine": "mounted-6", "runs": [{"check": "bleed", "pattern": "PPPPP?"}]}
    path = tmp_path / "case.json"
    path.write_text(json.dumps(story), encoding="utf-8")
    assert read_case_file(path)[1] == read_typed(MACHINE, ["bleed=PPPPP?"])


def test_a_machine_beside_the_case_file_is_found(tmp_path: Path) -> None:
    layout = load_knowledge().layouts["mounted-6"].read_text(encoding="utf-8")
    (tmp_path / "own.yaml").write_text(layout, encoding="utf-8")
    (tmp_path / "case.yaml").write_text(STORY.replace("mounted-6", "./own.yaml"), encoding="utf-8")
    assert read_case_file(tmp_path / "case.yaml")[0].rows == 6


FIRST = "machine: mounted-6\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "machine: mounted6\n",
            "case.yaml:1: expected a machine, got 'mounted6'; "
            "did you mean mounted-6 or mounted-12?",
        ),
        (
            FIRST + "runs:\n  - check: bleed\n",
            "case.yaml:3: expected either pattern or rows, got neither; keep one of them",
        ),
        (
            FIRST + "runs:\n  - check: blead\n    pattern: PPPPPP\n",
            "case.yaml:3: expected a check, got 'blead'; did you mean bleed?",
        ),
        (
            FIRST + "runs:\n  - check: bleed\n    rows: {fail: 7}\n",
            "case.yaml:4: expected rows from 1 to 6, got '7'",
        ),
        (
            FIRST + "circumstances: {oil: 54}\n",
            "case.yaml:2: expected a temperature with its unit, got '54'; write 54C or 54F or 54K",
        ),
        (
            FIRST + "circumstances: {engine: on}\n",
            'case.yaml:2: expected text in quotes, or true or false, got on; write "on"',
        ),
        (
            FIRST + "circumstances: {rehooked: 'yes'}\n",
            "case.yaml:2: expected a circumstance of runs, got 'rehooked'; "
            "known: bleed-hose, engine, moving, oil, supply",
        ),
        (
            FIRST + "readings:\n  - {measurement: coil-resistance, part: row-6, value: true}\n",
            "case.yaml:3: expected a resistance such as 7.4ohm, got 'true'",
        ),
        (
            FIRST + "runs: []\nruns: []\n",
            "case.yaml:3: expected each name once, got a second 'runs'; "
            "the first is in line 2; keep one",
        ),
    ],
)
def test_a_bad_case_file_says_where_and_what_to_write(text: str, message: str) -> None:
    with pytest.raises(FileProblems) as caught:
        read(text)
    assert str(caught.value) == message


def test_the_machine_of_the_command_must_be_that_of_the_file() -> None:
    other = load_machine("mounted-12")
    with pytest.raises(FileProblems, match="expected the machine mounted-12, as in the command"):
        read_case(read_text(STORY, "case.yaml"), load_knowledge(), other)


RUNS = st.builds(
    Run,
    index=st.just(0),
    check=st.sampled_from(["bleed", "response"]),
    results=st.lists(st.sampled_from(list(Result)), min_size=6, max_size=6)
    .map(tuple)
    .filter(lambda results: set(results) != {Result.NOT_RUN}),
    circumstances=st.fixed_dictionaries(
        {},
        optional={
            "oil": st.floats(-20, 100, allow_nan=False).map(lambda n: round(n, 3)),
            "engine": st.sampled_from(["on", "off"]),
        },
    ),
)
READINGS = st.sampled_from(
    [
        Reading("coil-resistance", "row-2/valve", 7.4),
        Reading("look-leak", "row-3/hose", "no"),
        Reading("valve-code", "row-1/valve", 5.0),
        Reading("valve-code", "row-4/valve", NO_CODE),
    ]
)


@settings(max_examples=50)
@given(st.lists(RUNS, max_size=4), st.lists(READINGS, max_size=3))
def test_a_written_case_reads_as_the_same_case(runs: list[Run], readings: list[Reading]) -> None:
    numbered = (Run(n, r.check, r.results, r.circumstances) for n, r in enumerate(runs, 1))
    case = Case("mounted-6", tuple(numbered), tuple(readings), {"rehooked": "no"})
    assert read(case_text(case, MACHINE)) == case


@pytest.mark.slow
@settings(max_examples=300)
@given(st.integers(0, len(STORY)), st.integers(0, 12), st.text('{}[]:,-"?&*\n aeon019', max_size=6))
def test_any_spoilt_case_file_is_read_or_refused_politely(cut: int, size: int, put: str) -> None:
    with suppress(FileProblems):
        assert read(STORY[:cut] + put + STORY[cut + size :]).machine == "mounted-6"


@pytest.mark.parametrize("typed", ["supply=901psi", "oil=119F", "oil=301.7K"])
def test_values_typed_in_any_unit_come_back_to_the_last_digit(typed: str) -> None:
    case = read_typed(MACHINE, [typed, "bleed=PPPPPF"])
    assert read(case_text(case, MACHINE)) == case


WITH_WORK = """\
machine: mounted-6
circumstances: {oil: 54 C}
story:
  - {check: response, pattern: PPPPPF}
  - {swap: swap-coil, part: row-6/valve, with: row-5/valve}
  - {check: response, rows: {fail: 5, pass: 6}, circumstances: {engine: "on"}}
  - {measurement: coil-resistance, part: row-5/valve, value: 90 ohm}
  - {remedy: replace-coil, part: row-5/valve}
"""


def test_a_story_tells_runs_readings_and_work_in_order(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text(WITH_WORK)
    machine, case = read_case_file(tmp_path / "mine.yaml")
    assert [run.epoch for run in case.runs] == [0, 1]
    assert case.readings[0].epoch == 1
    assert len(case.work) == 2
    (tmp_path / "again.yaml").write_text(case_text(case, machine))
    assert read_case_file(tmp_path / "again.yaml")[1] == case


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("{check: response}", "either pattern or rows"),
        ("{check: response, pattern: PPPPPF, part: row-6/valve}", "no 'part' with check"),
        ("{swap: swap-coil, part: row-6/valve}", "the field 'with'"),
        ("{part: row-6/valve}", "one of check, measurement, remedy, swap"),
        ("{remedy: replace-coil, swap: swap-coil, part: row-6/valve}", "one of check"),
        ("{remedy: polish, part: row-6/valve}", "polish"),
    ],
)
def test_an_entry_that_tells_no_one_thing_is_refused(tmp_path: Path, entry: str, said: str) -> None:
    (tmp_path / "mine.yaml").write_text(f"machine: mounted-6\nstory:\n  - {entry}\n")
    with pytest.raises(FileProblems) as refused:
        read_case_file(tmp_path / "mine.yaml")
    assert said in str(refused.value)
    assert "mine.yaml:3" in str(refused.value)
