"""``rowfault cases learn`` reads the casebook, and changes nothing until it is told to."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.observations.entries import Concluded, Opened, new_event
from diagnose.store.casebook import open_casebook
from diagnose.ui.cli.root import rowfault

COIL = "row-6/valve:coil_open"
RANK = "rank mounted-6 response=PPPPPF oil=54C engine=on --json"


def run(line: str) -> Result:
    return CliRunner().invoke(rowfault, shlex.split(line), prog_name="rowfault")


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A casebook of ten coils that were open, and one case that still is."""
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path))
    monkeypatch.delenv("ROWFAULT_CASEBOOK", raising=False)
    with open_casebook() as casebook:
        for number in range(11):
            case = f"20260301-mounted-6-{number}"
            casebook.begin(new_event(Opened(case=case, machine="mounted-6"), "Ann"))
            if number:
                casebook.add(case, new_event(Concluded(outcome="proven", causes=(COIL,)), "Ann"))
    return tmp_path


def test_a_look_changes_nothing(home: Path) -> None:
    before = sorted(path.name for path in home.iterdir())
    lesson = json.loads(run("cases learn --show --json").stdout)
    assert (lesson["cases"], lesson["left_out"]["unfinished"]) == (10, 1)
    assert run("cases learn").stdout == run("cases learn --show").stdout
    assert sorted(path.name for path in home.iterdir()) == before


@pytest.mark.slow
def test_what_is_accepted_is_what_ranks(home: Path) -> None:
    assert json.loads(run(RANK).stdout)["priors"] == "shipped"
    said = run("cases learn --accept --who 'A. Helper'").stdout
    after = json.loads(run(RANK).stdout)
    assert after["priors"] in said
    assert after["causes"][0]["id"] == COIL
    assert 'by: "A. Helper"' in (home / "priors.yaml").read_text("utf-8")
    assert run("cases learn --forget").exit_code == 0
    assert json.loads(run(RANK).stdout)["priors"] == "shipped"


def test_a_casebook_without_closed_cases_is_refused(home: Path) -> None:
    (home / "casebook.sqlite").unlink()
    answer = run("cases learn --accept --who Ann")
    assert answer.exit_code == 1
    assert answer.stderr.startswith(
        "Error: casebook: expected closed cases to learn from, got none"
    )


def test_data_is_for_showing_only() -> None:
    assert run("cases learn --forget --json").exit_code == 2
