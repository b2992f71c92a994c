"""Laws that the shipped circumstances and checks keep."""

import pytest

from diagnose.formats.model import check_model
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.circumstances import Circumstance

KNOWLEDGE = load_knowledge()
OF_RUNS, OF_CASES = KNOWLEDGE.of_scope("run"), KNOWLEDGE.of_scope("case")


def test_runs_have_their_six_circumstances() -> None:
    assert set(OF_RUNS) == {"oil", "supply", "engine", "moving", "bleed-hose", "upset"}


@pytest.mark.parametrize("check", KNOWLEDGE.checks)
@pytest.mark.parametrize("circumstance", OF_RUNS.values(), ids=OF_RUNS)
def test_a_run_is_mostly_sound_when_nobody_said(check: str, circumstance: Circumstance) -> None:
    assert circumstance.good_state(check).prior_for(check) >= 0.85
    assert not circumstance.good_state(check).shows.get(check)


def test_the_bleed_hose_is_good_where_the_check_wants_it() -> None:
    hose = OF_RUNS["bleed-hose"]
    assert hose.good_state("bleed").id == "fitted"
    assert hose.good_state("response").id == "stowed"


@pytest.mark.parametrize("circumstance", OF_CASES.values(), ids=OF_CASES)
def test_history_is_asked_as_yes_or_no_and_makes_no_row_fail(circumstance: Circumstance) -> None:
    assert circumstance.choices == ("no", "yes")
    assert circumstance.ask
    assert not any(state.shows for state in circumstance.states)


@pytest.mark.parametrize("check", KNOWLEDGE.checks.values(), ids=KNOWLEDGE.checks)
def test_each_check_says_that_nobody_stands_near(check: object) -> None:
    assert "nobody stands near them" in " ".join(getattr(check, "cautions", ()))


def test_priors_that_do_not_add_up_are_told() -> None:
    text = """\
id: dust
name: dust
says: Dust.
scope: run
value: choice
choices: ["no", "yes"]
states:
  - {id: "no", name: none, prior: {any: 0.9}, source: judgement}
  - {id: "yes", name: dusty, prior: {any: 0.2}, source: judgement}
"""
    (problem,) = check_model(read_text(text, "f"), Circumstance)[1]
    assert str(problem) == "f:7: expected priors for any that add up to 1, got 1.1"


def test_what_is_known_of_the_past_is_a_choice_since_rules_hold_it_as_a_word() -> None:
    states = "states: [{id: low, name: low, prior: {any: 0.5}, source: judgement}, "
    states += "{id: high, name: high, prior: {any: 0.5}, source: judgement}]"
    about = "id: stored\nname: stored\nsays: x\nscope: case\nvalue: temperature\n"
    text = f"{about}lowest: 0\nhighest: 50\n{states}\n"
    _, problems = check_model(read_text(text, "f"), Circumstance)
    assert [problem.expected for problem in problems] == ["choice, for what is known of the past"]
