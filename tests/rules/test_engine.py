"""The adapter around the rule engine is safe where the engine is not."""

from __future__ import annotations

import resource
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.rules.engine import EngineError, Item, Stratum
from diagnose.rules.rulefile import Rule
from tests.rules.reference import matches as by_reference
from tests.rules.worlds import a_rule

RUN, HISTORY = (
    {"run": 1, "check": "bleed", "failed": 3},
    {"circumstance": "washed", "answer": "yes"},
)


def fired(stratum: Stratum, *items: Item) -> list[tuple[str, tuple[int, ...]]]:
    return [(match.rule, match.items) for match in stratum.matches(items)]


def none_rule() -> Rule:
    return a_rule(when='  - {fact: run, as: r}\n  - {none: history, where: {answer: "yes"}}')


def test_what_must_not_be_there_blocks_the_rule_whichever_comes_first():
    stratum = Stratum([none_rule()])
    run, history = Item("run", RUN), Item("history", HISTORY)
    assert fired(stratum, run) == [("sample", (0,))]
    assert fired(stratum, run, history) == fired(stratum, history, run) == []


def test_a_name_that_the_engine_keeps_for_itself_is_harmless():
    rule = a_rule(
        when="  - {fact: run, as: s}\n  - {fact: history, as: m}",
        then='  - {finding: pattern, values: {run: "{s.run}", check: "{s.check}"}}',
    )
    assert fired(Stratum([rule]), Item("run", RUN), Item("history", HISTORY)) == [
        ("sample", (0, 1))
    ]


def test_a_failing_comparison_of_two_facts_does_not_crash_the_engine():
    when = '  - {fact: run, as: r}\n  - {fact: run, where: {failed: {below: "{r.failed}"}}}'
    items = [Item("run", {**RUN, "failed": failed}) for failed in (3, 3, 2)]
    assert fired(Stratum([a_rule(when=when)]), *items) == [("sample", (0, 2)), ("sample", (1, 2))]


def test_small_and_large_numbers_are_compared_as_numbers():
    stratum = Stratum(
        [a_rule(when="  - {fact: temperature, as: r, where: {celsius: {below: 20.5}}}")]
    )
    warm, cold = ({"run": 1, "celsius": celsius} for celsius in (100.0, 1e-5))
    assert fired(stratum, Item("temperature", warm), Item("temperature", cold)) == [
        ("sample", (1,))
    ]


def test_a_number_that_the_engine_cannot_hold_is_an_error_and_not_silence():
    stratum = Stratum([a_rule()])
    with pytest.raises((EngineError, OverflowError)):
        stratum.matches([Item("run", {"run": float("inf")})])


def test_the_order_of_firings_does_not_depend_on_the_engine():
    rules = [a_rule(id=f"rule-{letter}") for letter in "zab"]
    items = [Item("run", {**RUN, "run": number}) for number in range(5)]
    assert fired(Stratum(rules), *items) == [(rule.id, (n,)) for rule in rules for n in range(5)]


def test_many_rules_on_one_kind_of_fact_stay_within_the_engine():
    rules = [
        a_rule(
            id=f"rule-{number}",
            when=f"  - {{fact: run, as: r, where: {{failed: {{above: {number}}}}}}}",
        )
        for number in range(100)
    ]
    assert len(fired(Stratum(rules), Item("run", {**RUN, "failed": 200}))) == 100


FIELDS = {"n": st.sampled_from([-1, 1, 2, 2.5, 3]), "t": st.sampled_from(["a", "b", "a-b/1"])}
ITEMS = st.lists(st.builds(Item, st.sampled_from("xyz"), st.fixed_dictionaries(FIELDS)), max_size=7)


@st.composite
def conditions(draw: st.DrawFn, names: list[str], key: str) -> dict[str, object]:
    where: dict[str, object] = {}
    for field in draw(st.sets(st.sampled_from("nt"))):
        operators = ["equals", "not"] + (
            ["below", "at_least", "above", "at_most"] if field == "n" else []
        )
        holes = (
            st.sampled_from([f"{{{name}.{field}}}" for name in names]) if names else st.nothing()
        )
        where[field] = draw(
            st.dictionaries(
                st.sampled_from(operators), holes | FIELDS[field], min_size=1, max_size=2
            )
        )
        if draw(st.integers(0, 4)) == 0:
            where[field] = {
                "one_of": draw(st.lists(FIELDS[field], min_size=2, max_size=2, unique=True))
            }
    return {key: draw(st.sampled_from("xyz")), "where": where}


@st.composite
def random_rules(draw: st.DrawFn) -> list[Rule]:
    rules = []
    for number in range(draw(st.integers(1, 4))):
        names: list[str] = []
        when: list[dict[str, object]] = []
        for place in range(draw(st.integers(1, 3))):
            when.append({**draw(conditions(names, "fact")), "as": f"a{place}"})
            names.append(f"a{place}")
        when += [draw(conditions(names, "none")) for _ in range(draw(st.integers(0, 2)))]
        rules.append(
            a_rule(id=f"rule-{number}").model_copy(
                update={"when": Rule.model_validate({**TEMPLATE, "when": when}).when}
            )
        )
    return rules


TEMPLATE = a_rule().model_dump(by_alias=True, exclude_none=True, exclude={"when"})


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(random_rules(), ITEMS)
def test_the_engine_agrees_with_trying_every_combination(rules: list[Rule], items: list[Item]):
    assert fired(Stratum(rules), *items) == list(by_reference(rules, items))


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no resource module there")
def test_three_thousand_cases_do_not_fill_the_memory():
    stratum = Stratum([a_rule(), none_rule().model_copy(update={"id": "other"})])
    items = [Item("run", {**RUN, "run": number}) for number in range(20)]
    for _ in range(200):
        stratum.matches(items)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for _ in range(3000):
        stratum.matches(items)
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 10_000
