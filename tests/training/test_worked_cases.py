"""The engine says, step by step, what the worked cases teach; they leave nothing out."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.errors import FileProblems
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.training.worked_cases import Worked, coverage, play_through, read_worked, worked_cases

KNOWLEDGE = load_knowledge()
CASES = {case.id: case for case in worked_cases()}


@pytest.mark.slow
@pytest.mark.parametrize("id", CASES)
def test_the_engine_agrees_with_every_step(id: str) -> None:
    for number, step in enumerate(play_through(CASES[id], KNOWLEDGE), start=1):
        assert [f"step {number}: {each}" for each in step.disagreements()] == []


@pytest.mark.slow
def test_nothing_is_without_a_worked_case() -> None:
    seen = coverage(CASES.values(), KNOWLEDGE)
    assert {sort: seen.missing(sort) for sort in seen.every} == dict.fromkeys(seen.every, ())


def test_there_are_cases_enough_for_a_winter() -> None:
    assert len(CASES) >= 40


def test_an_expectation_that_does_not_hold_is_told() -> None:
    wrong = CASES["open-coil"].model_copy(update={"steps": (
        CASES["open-coil"].steps[0].model_copy(
            update={"leads": "row-1/valve:sluggish", "at_least": 0.9, "unlikely": ("row",),
                    "patterns": ("everything",), "next": "proven", "at": "x"}),)})  # fmt: skip
    (step,) = play_through(wrong, KNOWLEDGE)
    assert len(list(step.disagreements())) == 6


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("id: x", "expected the field 'title'"),
        ("situation: A farm\nsteps: []", "at least one"),
        ("steps: [{told: [], next: jump, because: x}]", "rerun"),
    ],
)
def test_a_worked_case_that_is_not_sound_is_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "x.yaml"
    path.write_text(text)
    with pytest.raises(FileProblems, match=words):
        read_worked(path)


def test_a_situation_says_that_it_is_invented(tmp_path: Path) -> None:
    path = tmp_path / "all-well.yaml"
    from diagnose.paths import shipped

    good = (shipped().casebook / "worked" / "all-well.yaml").read_text(encoding="utf-8")
    path.write_text(good.replace("Invented. ", ""), encoding="utf-8")
    with pytest.raises(FileProblems, match=r"expected Invented\. first"):
        read_worked(path)
    assert Worked.model_validate(read_text(good, "x").data).id == "all-well"
