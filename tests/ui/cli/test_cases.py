"""``rowfault cases`` shows, writes and takes up what the casebook holds, and nothing steers a
terminal.
"""

from __future__ import annotations

import json
import shlex
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.knowledge.base import load_knowledge
from diagnose.observations.entries import Correction, Noted, Opened, new_event
from diagnose.observations.events import Run
from diagnose.observations.result import results_of
from diagnose.store.casebook import open_casebook
from diagnose.training.worked_cases import worked_cases
from diagnose.ui.cli.root import rowfault

CASE = "20260301-mounted-6-a"
RUN = Run.of("response", "PPPPPF", {"oil": 54.0})


def run(line: str) -> Result:
    return CliRunner().invoke(rowfault, shlex.split(line), prog_name="rowfault")


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A casebook with one case, in a folder of the test's own."""
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path))
    monkeypatch.delenv("ROWFAULT_CASEBOOK", raising=False)
    monkeypatch.setenv("LOGNAME", "Ben")
    with open_casebook() as casebook:
        casebook.begin(new_event(Opened(case=CASE, machine="mounted-6", title="spring"), "Ann"))
        first = new_event(RUN, "Ann")
        wrong = replace(RUN, results=results_of("PPPPFP"))
        casebook.add(CASE, first, new_event(Noted("turned \u202e round"), "Ben"))
        casebook.add(
            CASE, new_event(Correction(event=first.id, instead=wrong, reason="typo"), "Ben")
        )
    return tmp_path


def test_the_list_names_the_case_and_what_it_is_about() -> None:
    assert run("cases list").stdout.splitlines() == [f"{CASE}  open, 1 min, with Ann", "    spring"]


@pytest.mark.parametrize(
    ("words", "many"),
    [("spring", 1), ("autumn", 0), ("--open", 1), ("--closed", 0), ("--machine mounted-12", 0)],
)
def test_the_list_is_narrowed(words: str, many: int) -> None:
    listed = json.loads(run(f"cases list {words} --json").stdout)
    assert (listed["schema"], len(listed["cases"])) == ("rowfault/cases/1", many)


def test_a_case_is_shown_with_what_no_longer_counts() -> None:
    shown = run("cases show last").stdout
    assert "[no longer counts:" in shown.replace("\n", " ")
    assert "row 5 failed" in shown.replace("\n", " ")
    assert "\u202e" not in shown
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_what_is_exported_is_taken_up_elsewhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_casebook() as casebook:
        before = casebook.events(CASE)
    assert run(f"cases export 2026 --to {tmp_path / 'out'}").exit_code == 0
    file = tmp_path / "out" / f"{CASE}.yaml"
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.setenv("ROWFAULT_HOME", str(elsewhere))
    assert run(f"cases import {file}").stdout == f"{CASE}: 4 new events\n"
    assert run(f"cases import {file} {file}").stdout == f"{CASE}: 0 new events\n" * 2
    with open_casebook() as casebook:
        assert casebook.events(CASE) == before
    assert "row 5" in run(f"rank --file {file} --next 0").stdout


def test_a_file_is_not_replaced_unless_that_is_said(tmp_path: Path) -> None:
    line = f"cases export last --to {tmp_path}"
    assert run(line).exit_code == 0
    assert (run(line).exit_code, run(f"{line} --force").exit_code) == (1, 0)


@pytest.mark.parametrize(
    ("line", "status", "message"),
    [
        ("cases show nowhere", 1, "expected a case, got 'nowhere'"),
        ("cases list --since yesterday", 2, "does not match the format"),
        ("cases import nowhere.yaml", 2, "does not exist"),
        ("cases export", 2, "Missing argument"),
    ],
)
def test_what_cannot_be_done_is_said(line: str, status: int, message: str) -> None:
    result = run(line)
    assert (result.exit_code, message in result.stderr) == (status, True), result.stderr


def test_an_unsound_file_changes_nothing(home: Path) -> None:
    bad = home / "bad.yaml"
    bad.write_text("schema: rowfault/case/1\nevents: []\n")
    assert run(f"cases export last --to {home / 'out'}").exit_code == 0
    result = run(f"cases import {home / 'out' / CASE}.yaml {bad}")
    assert (result.exit_code, "at least one" in result.stderr) == (1, True)


@pytest.mark.slow
def test_worked_cases_are_listed_by_topic_and_read_step_by_step() -> None:
    assert "swapped-coil" in run("cases read --topic swaps").stdout
    shown = run("cases read swapped-coil --all").stdout
    assert shown.count("What would you do?") == 4
    assert "Lesson" in shown
    assert all(len(line) <= 80 for line in shown.splitlines())
    asked = CliRunner().invoke(rowfault, ["cases", "read", "open-coil"], input="\n\n")
    assert (asked.exit_code, "replace the coil" in asked.stdout.lower()) == (0, True)


def test_what_worked_cases_leave_out_is_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two cases; that all of them together leave nothing out is tested with the cases."""
    few = worked_cases()[:2]
    monkeypatch.setattr("diagnose.ui.cli.lessons.worked_cases", lambda: few)
    seen = json.loads(run("cases coverage --json").stdout)["sorts"]["layouts"]["missing"]
    assert set(seen) == set(load_knowledge().layouts) - {case.machine for case in few}


@pytest.mark.parametrize("line", ["cases read nowhere", "cases read --topic nothing"])
def test_a_worked_case_that_is_not_there_is_said(line: str) -> None:
    assert run(line).exit_code == 1
