"""Commands end well: answers on standard output, clear errors on standard error, never a trace."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.knowledge.base import load_knowledge
from diagnose.ui.cli.root import rowfault


def run(line: str | list[str]) -> Result:
    """What the command does with a line, as a shell would cut it."""
    words = shlex.split(line) if isinstance(line, str) else line
    return CliRunner().invoke(rowfault, words, prog_name="rowfault")


@pytest.mark.parametrize(
    ("line", "schema"),
    [
        ("rank mounted-6 response=PPPPPF", "rowfault/ranking/1"),
        ("machine list", "rowfault/machines/1"),
        ("machine show mounted-6 --row 6", "rowfault/machine/1"),
        ("rules list", "rowfault/rules/1"),
        ("explain valve", "rowfault/explanation/1"),
    ],
)
def test_every_answer_is_there_for_scripts_too(line: str, schema: str) -> None:
    assert json.loads(run(f"{line} --json").output)["schema"] == schema


@pytest.mark.slow
@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("--version", "rowfault 0."),
        ("machine list", "mounted-12   12 rows"),
        ("machine show mounted-6", "└─ section-1: hose → manifold → rows 1-6, a star; air"),
        ("machine show mounted-6 --row 6", "row-6/valve"),
        ("rules list --group patterns", "chain-tail"),
        ("rules check", "all sound"),
        ("explain row-6/valve:coil_open", "# row valve: coil open (valve:coil_open)"),
        ("explain", "pages: `rank`"),
        ("explain coil open", "`coil-reads-open`, rule: …: … where … was expected"),
        ("explain Row Valve", "# row valve (valve)"),
        ("completion bash", "_rowfault_completion"),
        ("completion zsh", "#compdef rowfault"),
        ("completion fish", "complete --no-files --command rowfault"),
        ("rank mounted-6 response=PPPPPF oil=54C", "row 6"),
    ],
)
def test_commands_answer(line: str, says: str) -> None:
    result = run(line)
    assert (result.exit_code, says in result.stdout) == (0, True), result.output


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (
            "rank mounted12 bleed=P",
            "machine: expected a machine, got 'mounted12'; did you mean mounted-12 or mounted-6?",
        ),
        (
            "machine show mounted-6 --row 7",
            "mounted-6: expected a row from 1 to 6, got 7",
        ),
        (
            "explain valv",
            "explain: expected an id or words, got 'valv'; did you mean valve?",
        ),
        (
            "rules list --group pattern",
            "--group: expected a group of rules, got 'pattern'; did you mean patterns?",
        ),
        (
            "rank mounted-6 bleed=PPPPPP oil=hot",
            "oil=hot: expected a temperature such as 48C or 118F, got 'hot'",
        ),
    ],
)
def test_what_cannot_be_used_is_told_with_status_1(line: str, message: str) -> None:
    result = run(line)
    assert (result.exit_code, result.stdout, result.stderr) == (1, "", f"Error: {message}\n")


def test_several_problems_are_told_below_each_other() -> None:
    lines = run("rank mounted-6 oil=54 bleed=PP").stderr.splitlines()
    assert lines[0] == "Error: 2 things are wrong"
    assert [line.partition(":")[0] for line in lines[1:]] == ["  oil=54", "  bleed=PP"]


@pytest.mark.parametrize(
    "line",
    [
        "rank",
        "rank mounted-6",
        "rank mounted-6 oil=54C",
        "rank mounted-6 --file missing.yaml",
        "rank mounted-6 --nonsense",
        "machine check",
        "machine check missing.yaml",
        "completion tcsh",
        "work --case last --scratch",
        "nonsense",
    ],
)
def test_wrong_usage_has_status_2(line: str) -> None:
    result = run(line)
    assert (result.exit_code, "Error: " in result.stderr) == (2, True)


def test_a_layout_of_ones_own_is_checked(tmp_path: Path) -> None:
    text = load_knowledge().layouts["mounted-6"].read_text(encoding="utf-8")
    good, bad = tmp_path / "good.yaml", tmp_path / "bad.yaml"
    good.write_text(text, encoding="utf-8")
    bad.write_text(text.replace("rows: 6", "rows: 7"), encoding="utf-8")
    assert "good.yaml is sound: mounted-6, 6 rows" in run(["machine", "check", str(good)]).stdout
    assert "bad.yaml:" in run(["machine", "check", str(bad)]).stderr


def test_a_machine_may_be_a_file(tmp_path: Path) -> None:
    text = load_knowledge().layouts["mounted-6"].read_text(encoding="utf-8")
    (tmp_path / "own.yaml").write_text(text, encoding="utf-8")
    line = ["rank", str(tmp_path / "own.yaml"), "bleed=PPPPPF", "--json"]
    assert json.loads(run(line).stdout)["rows"] == 6


@pytest.mark.parametrize("machine", ["mounted-6", "mounted-12", "folding-48"])
def test_a_ranking_fits_80_columns(machine: str) -> None:
    lines = run(["rank", machine, "response=fail:1-3,6,pass:rest", "oil=54C"]).stdout.splitlines()
    assert max(map(len, lines)) <= 80


def test_file_log_and_typed_runs_follow_each_other(tmp_path: Path) -> None:
    case, log = tmp_path / "case.yaml", tmp_path / "log.csv"
    case.write_text('machine: mounted-6\nruns: [{check: bleed, pattern: "PPPPPP"}]\n', "utf-8")
    log.write_text("run,check,row,result\n1,response,6,F\n", "utf-8")
    line = ["rank", "--file", str(case), "--log", str(log), "response=....PF", "--json"]
    runs = json.loads(run(line).stdout)["runs"]
    assert [each["pattern"] for each in runs] == ["PPPPPP", ".....F", "....PF"]


def test_ctrl_c_is_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("diagnose.ui.cli.machine._list_all", interrupted)
    result = run("machine list")
    assert (result.exit_code, result.output) == (130, "")


def test_what_the_system_refuses_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> None:
        raise PermissionError(13, "Permission denied", "mine.yaml")

    monkeypatch.setattr("diagnose.ui.cli.machine._list_all", refused)
    result = run("machine list")
    assert (result.exit_code, result.stderr) == (1, "Error: mine.yaml: Permission denied\n")


@pytest.mark.parametrize("machine", ["mounted-6", "folding-24"])
def test_what_to_type_where_nothing_was_told_is_taken_as_it_is_shown(machine: str) -> None:
    told = run(["rank", machine, "oil=54C"])
    assert told.exit_code == 2
    example = told.stderr.partition("for example ")[2].strip().rstrip(".")
    assert run(["rank", machine, example]).exit_code == 0


COMMANDS = ["rank", "machine", "rules", "explain", "list", "show", "check"]
OPTIONS = ["--json", "--row", "--help", "--no-colour", "--next", "--causes", "--group", "-", "--"]
GIVEN = ["mounted-6", "valve", "6", "bleed=PPPPPF", "response=fail:9", "oil=54C", "oil=54", "x=y"]
WORDS = st.sampled_from([*COMMANDS, *OPTIONS, *GIVEN])


@pytest.mark.slow
@settings(max_examples=1800, deadline=None)
@given(st.lists(WORDS | st.text(max_size=6), max_size=7))
def test_no_line_gives_a_traceback(words: list[str]) -> None:
    assert run(words).exit_code in {0, 1, 2}


PIECES = st.sampled_from(["bleed=", "response=", "oil=", "engine=", "look-leak@row-1/valve="])
VALUES = st.sampled_from(["PPPPPF", "FFFFFF", "fail:1-3,pass:rest", "54C", "-5C", "on", "yes"])
ARGUMENT = st.builds(str.__add__, PIECES, VALUES | st.text("PF?.", min_size=6, max_size=6))


@pytest.mark.slow
@settings(max_examples=200, deadline=None)
@given(st.lists(ARGUMENT, min_size=1, max_size=4))
def test_no_story_gives_a_traceback(arguments: list[str]) -> None:
    assert run(["rank", "mounted-6", *arguments]).exit_code in {0, 1, 2}
