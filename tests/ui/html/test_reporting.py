"""``rowfault report`` and ``rowfault ready``: forms, files that are whole, clear refusals."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.errors import Unavailable
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.archive import story_text
from diagnose.planner.readiness import ReadinessItem, read_readiness
from diagnose.store.casebook import open_casebook
from diagnose.ui.cli.root import rowfault
from diagnose.ui.files import write_whole
from tests.reports.stories import found_on_mounted_12, proven_on_mounted_12

PROVEN = proven_on_mounted_12()
CASE = "20260314-mounted-12-0a1b2c"


@pytest.fixture(autouse=True)
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A casebook of one's own with one case in it."""
    monkeypatch.setenv("ROWFAULT_CASEBOOK", f"sqlite:///{tmp_path / 'book.db'}")
    with open_casebook() as casebook:
        casebook.begin(PROVEN[0])
        casebook.add(CASE, *PROVEN[1:])


def run(*words: str) -> Result:
    return CliRunner().invoke(rowfault, words, prog_name="rowfault")


@pytest.mark.parametrize("name", [CASE, "20260314", "last"])
def test_a_case_is_named_by_its_id_its_beginning_or_as_the_last(name: str) -> None:
    result = run("report", name, "-o", "-", "--format", "json", "--who", PROVEN[0].who)
    report = json.loads(result.stdout)
    assert (report["schema"], report["case"]) == ("rowfault/report/1", CASE)


@pytest.mark.slow
def test_an_exported_case_gives_the_same_report(tmp_path: Path) -> None:
    path = tmp_path / "case.yaml"
    path.write_text(story_text(PROVEN), encoding="utf-8")
    for form in ("html", "md", "json"):
        from_file = run("report", str(path), "-o", "-", "--format", form).stdout
        assert from_file == run("report", CASE, "-o", "-", "--format", form).stdout


@pytest.mark.parametrize(
    ("name", "begins"), [("a.html", "<!DOCTYPE html>"), ("a.md", "# mounted-12"), ("a.json", "{")]
)
def test_the_ending_of_the_file_says_the_form(name: str, begins: str, tmp_path: Path) -> None:
    result = run("report", CASE, "-o", str(tmp_path / name))
    assert (result.exit_code, result.stdout) == (0, "")
    assert (tmp_path / name).read_text(encoding="utf-8").startswith(begins)


@pytest.mark.slow
def test_a_file_is_replaced_only_when_that_is_said(tmp_path: Path) -> None:
    path = tmp_path / "a.html"
    path.write_text("mine", encoding="utf-8")
    refused = run("report", CASE, "-o", str(path))
    assert (refused.exit_code, path.read_text(encoding="utf-8")) == (1, "mine")
    assert "--force" in refused.stderr
    assert run("report", CASE, "-o", str(path), "--force").exit_code == 0
    assert path.read_text(encoding="utf-8") != "mine"


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (("report", CASE, "-o", "a.pdf"), 2, "ends in one of"),
        (("report", CASE, "-o", "-"), 2, "--format"),
        (("report", CASE), 2, "--output"),
        (("report", "2025", "-o", "a.md"), 1, "expected a case, got '2025'"),
        (("report", "none.yaml", "-o", "a.md"), 1, "none.yaml"),
        (("report", CASE, "-o", "no/such/folder/a.md"), 1, "nothing was left behind"),
        (("report", CASE, "-o", "/dev/null.md/x.md"), 1, "expected a place"),
        (("ready",), 2, "Missing argument 'MACHINE'"),
        (("ready", "mounted-12", "--case", CASE), 2, "not both"),
        (("ready", "mounted-12", "-o", "a.md", "--json"), 2, "not both"),
        (("ready", "mounted12"), 1, "did you mean mounted-12"),
        (("ready", "mounted-12", "response=PPPPPPPPPPPP"), 1, "expected a circumstance"),
    ],
)
def test_what_cannot_be_done_is_told(
    words: tuple[str, ...], status: int, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    before = set(tmp_path.iterdir())
    result = run(*words)
    assert (result.exit_code, says in result.stderr) == (status, True), result.output
    assert set(tmp_path.iterdir()) == before


def test_a_disk_that_fills_up_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.md"
    path.write_text("old", encoding="utf-8")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(Unavailable, match="No space left on device"):
        write_whole(path, "new", force=True)
    assert path.read_text(encoding="utf-8") == "old"
    assert [each.name for each in tmp_path.iterdir() if each.name.startswith(".")] == []


def test_a_folder_is_not_replaced(tmp_path: Path) -> None:
    with pytest.raises(Unavailable, match="expected a file to write"):
        write_whole(tmp_path, "text", force=True)


def items(*words: str, machine: str = "mounted-12") -> dict[str, ReadinessItem]:
    ready = read_readiness(load_machine(machine), words, load_knowledge())
    return {f"{item.when}: {item.id}": item for item in ready.items}


def test_what_is_known_good_costs_nothing_more() -> None:
    oil = items("oil=54C")["for every check: oil"]
    assert (oil.standing, oil.minutes, oil.does) == ("good", 0.0, "")


def test_what_is_known_bad_says_what_to_do_and_warns() -> None:
    oil, told = items("oil=15C")["for every check: oil"], load_knowledge().circumstances["oil"]
    assert told.prepare is not None
    assert (oil.standing, oil.does) == ("bad", told.prepare.does)
    warming = load_knowledge().setups["warm-oil"].enter_minutes
    assert (oil.minutes, oil.cautions) == (warming, told.prepare.cautions)


def test_a_fitted_hose_is_good_for_the_bleed_and_bad_for_the_response_check() -> None:
    found = items("bleed-hose=fitted")
    assert found["bleed: bleed-hose"].standing == "good"
    assert found["response: bleed-hose"].standing == "bad"


@pytest.mark.parametrize("machine", ["mounted-6", "folding-16", "folding-48"])
def test_every_bleed_port_of_the_machine_is_seen_to(machine: str) -> None:
    seen = {name.partition("@")[2] for name in items(machine=machine) if "port" in name}
    assert seen >= {f"{port}/port" for port in load_machine(machine).ports}


def test_couplers_and_locks_come_before_the_engine_runs() -> None:
    before = [name for name in items() if name.startswith("before the engine runs")]
    assert any("supply/coupler" in name for name in before)
    assert before[0].endswith("parked")
    assert "locks" in items()[before[0]].says


def test_a_first_hook_up_puts_the_couplers_first() -> None:
    looks = [name for name in items("first-hookup=yes") if "@" in name]
    assert looks[0] == "before the engine runs: look-coupler@supply/coupler"


def test_a_sheet_says_the_same_in_every_form(tmp_path: Path) -> None:
    sheet = json.loads(run("ready", "mounted-12", "oil=15C", "--json").stdout)
    assert sheet["schema"] == "rowfault/readiness/1"
    text = " ".join(run("ready", "mounted-12", "oil=15C").stdout.split())
    page = run("ready", "mounted-12", "oil=15C", "-o", "-", "--format", "html").stdout
    plain = run("ready", "mounted-12", "oil=15C", "-o", "-", "--format", "md").stdout
    for group in sheet["groups"]:
        for item in group["items"]:
            assert all(item["about"] in each for each in (text, page, plain))
            for caution in item["cautions"]:
                assert caution[1:].rstrip(".") in text


@pytest.mark.slow
def test_the_season_record_has_runs_repairs_proof_and_a_line_to_sign() -> None:
    record = json.loads(run("ready", "--case", CASE, "--json").stdout)
    assert record["schema"] == "rowfault/season/1"
    assert [each["run"] for each in record["runs"]] == [1, 2, 3, 4, 5, 6]
    assert len(record["work"]) == 2
    assert record["proven_at"] == PROVEN[-2].at.isoformat(timespec="seconds")
    for words in ((), ("-o", "-", "--format", "md"), ("-o", "-", "--format", "html")):
        shown = run("ready", "--case", CASE, *words).stdout
        assert "roven good" in shown
        assert "Name and signature" in shown


def test_a_machine_that_is_not_proven_good_gets_no_record(tmp_path: Path) -> None:
    path = tmp_path / "open.yaml"
    path.write_text(story_text(found_on_mounted_12()), encoding="utf-8")
    result = run("ready", "--case", str(path), "-o", str(tmp_path / "record.html"))
    assert result.exit_code == 1
    assert "expected a machine that is proven good, got not proven: full run of response" in (
        result.stderr
    )
    assert not (tmp_path / "record.html").exists()
