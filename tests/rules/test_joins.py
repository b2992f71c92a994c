"""A rule that would take minutes is refused before it runs, and no other."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.knowledge.base import load_knowledge
from diagnose.observations.case import Case
from diagnose.observations.events import Reading, Run, Swapped
from diagnose.observations.result import Result
from diagnose.rules import joins
from diagnose.rules.conclude import conclude
from diagnose.rules.facts import facts_of, groups_of
from diagnose.rules.joins import SIZES, Joins
from diagnose.rules.loading import Rules, load_rules
from diagnose.rules.reading import problems_between
from diagnose.tolerances import MOST_JOINED, MOST_JOINED_TOGETHER
from tests.rules.worlds import a_rule, machine, rule_file, rule_text

RUNS = "  - {fact: run, as: a}\n" + "".join(
    f"  - {{fact: run, as: {name}}}\n" for name in ("b", "c", "d", "e")
)
SAID = '  - {finding: pattern, values: {run: "{a.run}", check: "{a.check}"}}'
HARMLESS: Mapping[str, str] = {
    "five runs that are one": RUNS.replace("}\n", ', where: {run: "{a.run}"}}\n').replace(
        '{fact: run, as: a, where: {run: "{a.run}"}}', "{fact: run, as: a}"
    ),
    "a failed row and its run": "  - {fact: failed_row, as: a}\n"
    '  - {fact: run, as: r, where: {run: "{a.run}"}}',
    "a run and what was noted": "  - {fact: run, as: a}\n"
    '  - {fact: setting, where: {run: "{a.run}", circumstance: engine}}',
    "two runs": "  - {fact: run, as: a}\n  - {fact: run, as: b, where: {run: {above: 2}}}",
}
HANGING: Mapping[str, str] = {
    "five runs": RUNS,
    "rows with rows": "  - {fact: failed_row, as: a}\n  - {fact: failed_row, as: b}",
    "tied by what does not tell apart": "  - {fact: failed_row, as: a}\n"
    '  - {fact: failed_row, as: b, where: {check: "{a.check}"}}',
    "ordered only": "  - {fact: run, as: a}\n"
    '  - {fact: failed_row, as: b, where: {run: {above: "{a.run}"}}}',
    "what must not be there": '  - {fact: changed, as: a, where: {lowest: "yes"}}\n'
    '  - {fact: run, as: b, where: {latest: "yes"}}\n'
    '  - {none: failed_row, where: {run: {above: "{a.failed_run}"}}}',
}


def between(*texts: str) -> list[str]:
    files = [rule_file(text, f"{number}.yaml") for number, text in enumerate(texts, start=1)]
    return list(map(str, problems_between(files)))


def test_five_runs_that_nothing_ties_together_are_refused_where_they_grow() -> None:
    assert between(rule_text(when=RUNS.rstrip(), then=SAID)) == [
        "1.yaml:8: expected facts that come together in at most 20,000 ways in a case of 48 rows "
        'and 40 runs, got up to 64,000; tie it to those before it, such as run: "{b.run}", or '
        "match fewer facts"
    ]


@pytest.mark.parametrize("when", HANGING.values(), ids=HANGING.keys())
def test_what_grows_with_the_case_is_refused(when: str) -> None:
    assert len(between(rule_text(when=when.rstrip(), then=SAID))) == 1


@pytest.mark.parametrize("when", HARMLESS.values(), ids=HARMLESS.keys())
def test_what_is_tied_together_is_taken(when: str) -> None:
    assert between(rule_text(when=when.rstrip(), then=SAID)) == []


def test_rules_that_feed_each_other_are_refused_where_it_grows() -> None:
    many = "  - {fact: run, as: a}\n  - {fact: run, as: b}"
    when = "  - {fact: pattern, as: one}\n  - {fact: pattern, as: other}"
    then = "  - {finding: contradiction, values: {}}"
    late = rule_text(id="late", group="contradictions", when=when, then=then)
    [told] = between(rule_text(when=many, then=SAID), late)
    assert told.startswith("2.yaml:7: expected facts that come together in at most 20,000 ways")
    assert "got up to 2,560,000" in told
    tied = late.replace("as: other}", 'as: other, where: {run: "{one.run}"}}')
    [told] = between(rule_text(when=many, then=SAID), tied)
    assert "got up to 64,000" in told


def test_many_rules_that_are_each_just_small_enough_are_refused_together() -> None:
    when = "  - {fact: run, as: a}\n  - {fact: setting, as: b, where: {circumstance: engine}}"
    each = [rule_text(id=f"rule-{n}", when=when, then=SAID) for n in range(200)]
    [told] = between(*each)
    assert f"fire in at most {MOST_JOINED_TOGETHER:,} ways together" in told
    assert told.startswith(f"{MOST_JOINED_TOGETHER // 40**2 + 1}.yaml:5:")


def test_every_shipped_rule_is_small_enough() -> None:
    rules = load_rules().rules
    assert [rule.id for rule in rules if Joins(rules).too_many(rule)] == []
    assert sum(max(Joins(rules).sizes(rule)) for rule in rules) < MOST_JOINED_TOGETHER


KNOWN, SMALL = load_knowledge(), machine("folding-16")
MARKS = st.lists(st.sampled_from("PPFF?"), min_size=16, max_size=16)


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """A small case in which much is noted, read, exchanged and changed."""
    case = Case(SMALL.id)
    for _ in range(draw(st.integers(1, 4))):
        marks = tuple(Result(mark) for mark in draw(MARKS))
        oil, engine = draw(st.sampled_from([10.0, 54.0])), draw(st.sampled_from(["on", "off"]))
        check = draw(st.sampled_from(["bleed", "response"]))
        case = case.then(Run(0, check, marks, {"oil": oil, "engine": engine}))
        if draw(st.booleans()):
            ohm = draw(st.sampled_from([7.4, 1.0]))
            case = case.then(Reading("coil-resistance", "row-2/valve", ohm))
        if draw(st.integers(0, 3)) == 0:
            case = case.then(Swapped("swap-coil", "row-2/valve", "row-3/valve"))
    return case


TIES = ("", 'run: "{{a.run}}"', 'run: {{above: "{{a.run}}"}}', 'check: "{{a.check}}"')
KINDS = ("run", "failed_row", "group", "setting", "temperature", "pair", "unknown")
NARROW = ("", 'latest: "yes"', "group: section", "circumstance: engine", "row: 3")
FIELDS = {"latest": "run", "group": "group", "circumstance": "setting", "row": "failed_row"}


@st.composite
def conditions(draw: st.DrawFn) -> str:
    """Two facts, tied in some way or not at all."""
    first, second = (draw(st.sampled_from(KINDS)) for _ in range(2))
    tests = [draw(st.sampled_from(TIES)).format()]
    narrow = draw(st.sampled_from(NARROW))
    tests += [narrow] if FIELDS.get(narrow.partition(":")[0]) == second else []
    inside = ", ".join(test for test in tests if test)
    return f"  - {{fact: {first}, as: a}}\n  - {{fact: {second}, as: b, where: {{{inside}}}}}"


def small() -> dict[str, int]:
    """What a case of `cases` has at most."""
    noted = len(KNOWN.circumstances)
    places = len(groups_of(SMALL))
    has = {"runs": 4, "rows": 16, "places": places, "noted": noted, "readings": 4}
    return {**SIZES, **has, "holders": len(SMALL.sections) + len(SMALL.ports), "swaps": 8}


@pytest.mark.slow
@settings(max_examples=60)
@given(cases(), conditions())
def test_no_rule_fires_more_often_than_was_reckoned(case: Case, when: str) -> None:
    mine = a_rule(id="mine", group="contradictions", when=when, then="  - {finding: contradiction}")
    rules = Rules((*load_rules().rules, mine))
    found = conclude(facts_of(SMALL, case, KNOWN), rules)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(joins, "SIZES", small())
        for rule in rules.rules:
            fired = sum(finding.rule == rule.id for finding in found)
            assert fired <= max(Joins(rules.rules).sizes(rule)) * len(rule.then), rule.id


def test_what_was_reckoned_is_reached() -> None:
    """The bound is no looser than it must be where nothing ties facts together."""
    rule = a_rule(when="  - {fact: run, as: a}\n  - {fact: run, as: b}", then=SAID)
    assert list(Joins([rule]).sizes(rule)) == [SIZES["runs"], SIZES["runs"] ** 2]
    assert SIZES["runs"] ** 2 < MOST_JOINED
