"""Every shipped rule fires where it should and keeps silent where it should."""

from __future__ import annotations

import pytest

from diagnose.knowledge.base import load_knowledge
from diagnose.paths import shipped
from diagnose.rules.cases import case_problems
from diagnose.rules.loading import rule_paths
from diagnose.rules.reading import read_beside
from diagnose.rules.rulefile import RuleFile
from diagnose.rules.vocabulary import RULE_GROUPS
from tests.rules.worlds import findings, machine

FILES, IN_USE = read_beside(None)
RULES = IN_USE.rules


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.rule.id)
def test_a_rule_fires_in_its_cases_and_keeps_silent_on_its_near_misses(file: RuleFile):
    assert case_problems([file], IN_USE) == []


def test_there_are_enough_rules_in_every_group():
    assert len(RULES) >= 45
    assert {rule.group for rule in RULES} == set(RULE_GROUPS)


def test_each_file_is_one_rule_of_its_name_in_the_folder_of_its_group():
    paths = {(path.parent.name, path.stem) for path in rule_paths(shipped().rules)}
    assert paths == {(rule.group, rule.id) for rule in RULES}


def test_no_two_rules_say_the_same_thing():
    assert len({rule.says for rule in RULES}) == len(RULES)


def test_says_reads_as_a_sentence_without_its_full_stop():
    odd = [rule.id for rule in RULES if rule.says[-1] == "." or rule.says[0].islower()]
    assert odd == []


ONE_STATE = [
    *(
        f"{check}=PPPFPP oil={celsius}C"
        for check in ("bleed", "response")
        for celsius in (-30, 19.9, 20, 48.7, 48.9, 90)
    ),
    *(
        f"{check}=PPPFPP supply={bar}bar"
        for check in ("bleed", "response")
        for bar in (0, 6.8, 7, 103, 104, 250, 251)
    ),
    *(
        f"{check}=PPPFPP {choice}"
        for check in ("bleed", "response")
        for choice in (
            "engine=on",
            "engine=off",
            "moving=yes",
            "moving=no",
            "bleed-hose=fitted",
            "bleed-hose=stowed",
        )
    ),
]


@pytest.mark.parametrize("typed", ONE_STATE)
def test_each_known_circumstance_comes_to_exactly_one_state(typed: str):
    (state,) = [one for one in findings("mounted-6", typed) if one.kind == "state"]
    circumstance = load_knowledge().circumstances[str(state.values["circumstance"])]
    assert circumstance.state(str(state.values["state"]))


def test_history_shifts_modes_that_their_part_kinds_have():
    priors = [one.values for rule in RULES for one in rule.then if one.finding == "prior"]
    kinds = load_knowledge().parts
    named = [(one["part_kind"], one["mode"]) for one in priors if "mode" in one]
    assert len(named) > 10
    assert all(kinds[kind].mode(mode) for kind, mode in named)


def numbers(unit: str) -> tuple[float, ...]:
    return {"ohm": (0.1, 8, 60, 1e4), "V": (2, 12), "bar": (1, 20, 200), "code": (2, 3, 5, 7, 13)}[
        unit
    ]


@pytest.mark.parametrize("part", ["row-6/valve", "row-6/sensor", "power/bus", "power/feed"])
def test_readings_come_to_results_that_the_measurement_has(part: str):
    for measurement in machine("mounted-6").parts[part].measurements:
        if measurement.unit != "choice":
            unit = "" if measurement.unit == "code" else measurement.unit
            typed = [f"{measurement.id}@{part}={n:g}{unit}" for n in numbers(measurement.unit)]
            made = [one for text in typed for one in findings("mounted-6", text)]
            results = {one.values["result"] for one in made if one.kind == "reading"}
            assert len(results) > 1
            assert results <= {"good", *(one.id for one in measurement.results)}


def test_nothing_is_found_before_anything_is_known():
    assert findings("mounted-6", "") == ()


def test_the_rules_folder_holds_nothing_but_rules():
    stray = [
        path for path in shipped().rules.rglob("*") if path.is_file() and path.suffix != ".yaml"
    ]
    assert stray == []
