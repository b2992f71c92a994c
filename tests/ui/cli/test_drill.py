"""A drill at the terminal, by script, and played by a player."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from diagnose.training.policies import planner, simulate
from diagnose.training.score import cause_in_words
from diagnose.ui.cli.root import rowfault
from tests.training.worlds import drill


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is finished is kept in a folder of the test's own."""
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path))
    monkeypatch.delenv("ROWFAULT_CASEBOOK", raising=False)


def run(*arguments: str) -> Result:
    """The command."""
    return CliRunner().invoke(rowfault, ["drill", *arguments])


def answered(folder: Path, lines: list[str], *arguments: str) -> str:
    """What a drill prints when these lines answer it."""
    path = folder / "answers.txt"
    path.write_text("\n".join(lines), encoding="utf-8")
    told = run("mounted-6", "--seed", "3", "--answers", str(path), *arguments)
    assert told.exit_code == 0, told.output
    return told.output


@pytest.mark.slow
def test_the_planners_moves_end_in_full_marks_and_the_truth(tmp_path: Path) -> None:
    """Typed as ids."""
    lines = [move.id for move in simulate(drill(1), planner).moves]
    told = answered(tmp_path, lines)
    [(part, mode)] = drill(1).revealed().faults
    assert "100 marks of 100" in told
    assert cause_in_words(drill(1), f"{part}:{mode}") in " ".join(told.split())


def test_nothing_of_the_truth_is_shown_before_the_end(tmp_path: Path) -> None:
    """Whoever quits has learned only what was seen."""
    [(part, mode)] = drill(1).revealed().faults
    told = answered(tmp_path, ["rows", "told", "hint", "?", "quit"])
    assert mode not in told
    assert cause_in_words(drill(1), f"{part}:{mode}") not in " ".join(told.split())


@pytest.mark.slow
def test_the_second_hint_names_the_act(tmp_path: Path) -> None:
    """The first does not."""
    told = answered(tmp_path, ["hint", "hint"])
    act = simulate(drill(1), planner).moves[0].id
    assert act not in told.partition("> hint\n> hint")[0].partition("> hint")[2].partition(">")[0]
    assert act in " ".join(told.split())


def test_words_are_one_key_away(tmp_path: Path) -> None:
    """The drill's own words, and every page."""
    told = answered(tmp_path, ["?control", "?valve", "?nonsense"])
    assert "passes again" in told
    assert "# row valve" in told
    assert "nonsense" in told


def test_what_is_not_understood_costs_nothing(tmp_path: Path) -> None:
    """And says what would be right."""
    told = answered(tmp_path, ["response 99", "flatter 6", "told"])
    assert "rows from 1 to 6" in told
    assert "past: nothing" in " ".join(told.split())


@pytest.mark.slow
def test_no_line_is_wider_than_the_terminal(tmp_path: Path) -> None:
    """Of 80 columns, in a drill from end to end."""
    lines = ["acts", "acts shared", "help", "response 1-3", "replace-valve 1", "?bleed", "give up"]
    printed = [each for each in answered(tmp_path, lines).splitlines() if not each.startswith(">")]
    assert max(map(len, printed)) <= 80


@pytest.mark.slow
def test_a_code_that_was_sent_is_the_same_drill() -> None:
    """It plays alike, and a broken one ends in clear text."""
    first = json.loads(run("mounted-6", "--seed", "3", "--play", "planner", "--json").output)
    [one] = first["drills"]
    again = json.loads(run("--code", one["code"], "--play", "planner", "--json").output)
    assert again["drills"] == first["drills"]
    broken = run("--code", one["code"][:-1] + ("A" if one["code"][-1] != "A" else "B"))
    assert broken.exit_code == 1
    assert "broken" in broken.output


@pytest.mark.slow
def test_the_report_says_by_skill_what_came_up_and_what_was_taken() -> None:
    """So that progress can be kept from it."""
    told = json.loads(run("mounted-6", "--seed", "3", "--play", "practice", "--json").output)
    [one] = told["drills"]
    assert one["schema"] == "rowfault/drill/1"
    assert all({"skill", "move", "taken"} == each.keys() for each in one["skills"])
    assert any(each["skill"] == "prove" for each in one["skills"])


@pytest.mark.parametrize(
    "arguments",
    [("--code", "A", "--seed", "1"), ("--json",), ("--level", "7"), ("--play", "champion")],
)
def test_options_that_do_not_go_together_are_refused(arguments: tuple[str, ...]) -> None:
    """As wrong usage."""
    assert run(*arguments).exit_code == 2
