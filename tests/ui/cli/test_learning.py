"""What closed cases teach is shown before it counts, accepted by a word, and taken back by one."""

import json
from pathlib import Path

import numpy as np
import pytest

from diagnose.api import plan
from diagnose.errors import InputError
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.parts import PartKind
from diagnose.machine.graph import load_machine
from diagnose.observations.case import Case
from diagnose.reports.plan import build_plan_report
from diagnose.reports.ranking import build_ranking_report
from diagnose.ui.cli.learn import accept_lesson, forget_lesson, named_or_login, show_lesson
from diagnose.ui.terminal.output import console
from diagnose.ui.terminal.plan import print_plan
from diagnose.ui.terminal.ranking import print_ranking
from tests.learning.fleets import Closed, fleet

Said = pytest.CaptureFixture[str]


def cylinders_of_folding(kind: PartKind, frame: str) -> float:
    return 5.0 if kind.id == "cylinder" and frame == "folding" else 1.0


LEFT_OUT = [
    Closed("mounted-6", (), "given-up"),
    Closed("no\x1bwhere"),
    Closed("mounted-6", ("row-9/valve:leaking",)),
]
CASES = [*fleet(1500, np.random.default_rng(1), cylinders_of_folding), *LEFT_OUT]


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path))


def test_a_lesson_fits_the_terminal_and_says_all(capsys: Said) -> None:
    show_lesson(CASES, as_json=False)
    said = capsys.readouterr().out
    assert max(map(len, said.splitlines())) <= 80
    assert "1,501 closed cases. In force: the shipped priors." in said
    assert "Left out: 1 closed case on no\\x1bwhere, a layout" in said
    assert "Not counted: row-9/valve:leaking, named 1 time, is not on its" in said
    assert "Learned apart for folding machines" in said
    assert "row cylinder, all modes together: found" in said
    assert said.endswith("Nothing changes until rowfault cases learn --accept.\n")


def test_showing_changes_nothing(tmp_path: Path, capsys: Said) -> None:
    show_lesson(CASES, as_json=True)
    assert json.loads(capsys.readouterr().out)["schema"] == "rowfault/lesson/1"
    assert list(tmp_path.iterdir()) == []


def test_no_cases_are_no_lesson(capsys: Said) -> None:
    show_lesson([], as_json=False)
    assert capsys.readouterr().out == "0 closed cases. In force: the shipped priors.\n"


def test_a_ranking_and_a_plan_say_that_priors_were_learned(capsys: Said) -> None:
    accept_lesson(CASES, "A. Helper")
    known = load_knowledge()
    found = plan(load_machine("mounted-6", known), Case("mounted-6"), depth=0)
    print_ranking(build_ranking_report(found.ranking), console(False))
    print_plan(build_plan_report(found), console(False))
    told = f"Priors learned from closed cases: set {known.priors}."
    assert capsys.readouterr().out.count(told) == 2


def test_what_was_accepted_is_in_force_until_it_is_forgotten(capsys: Said) -> None:
    accept_lesson(CASES, "A. Helper")
    named = load_knowledge().priors
    show_lesson(CASES, as_json=False)
    assert f"In force: priors {named}." in capsys.readouterr().out
    forget_lesson()
    assert load_knowledge().priors == "shipped"
    forget_lesson()
    assert capsys.readouterr().out.endswith("the shipped ones hold, as before.\n")


def test_a_set_that_cannot_be_used_can_still_be_forgotten(tmp_path: Path, capsys: Said) -> None:
    (tmp_path / "priors.yaml").write_text("parts: 3\n", "utf-8")
    show_lesson(CASES, as_json=False)
    assert "In force: a file that cannot be used" in capsys.readouterr().out
    forget_lesson()
    assert (tmp_path / "priors-1.yaml").read_text("utf-8") == "parts: 3\n"


def test_who_accepts_is_named_or_logged_in(monkeypatch: pytest.MonkeyPatch) -> None:
    def nobody() -> str:
        raise OSError("no such user")

    monkeypatch.setattr("getpass.getuser", nobody)
    assert named_or_login("A. Helper") == "A. Helper"
    with pytest.raises(InputError, match="expected who accepts, got nobody; say --who NAME"):
        named_or_login(None)
