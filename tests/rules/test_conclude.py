"""Findings come in the order of groups, each once, each with its reasons."""

from __future__ import annotations

import pytest

from diagnose.knowledge.base import load_knowledge
from diagnose.rules.acts import ask_act, measure_act, remedy_act, rerun_act
from diagnose.rules.conclude import RuleConflictError, advise, conclude
from diagnose.rules.finding import Fact, RuleFinding
from diagnose.rules.loading import Rules, load_rules
from diagnose.rules.vocabulary import FINDINGS, RULE_GROUPS, fact
from tests.rules.worlds import a_rule, facts, findings, machine

RUN = facts("mounted-6", "response=FFFFFF")
VALUES = 'run: "{{r.run}}", check: bleed, circumstance: oil, state: {}'
STATE = "  - {{finding: state, values: {{" + VALUES + "}}}}"


def named(made: tuple[RuleFinding, ...], rule: str) -> RuleFinding:
    return next(finding for finding in made if finding.rule == rule)


def test_findings_come_in_the_order_of_groups():
    made = findings(
        "mounted-6", "response=FFFFFF oil=15C engine=off washed=yes look-connector@row-1=no"
    )
    groups = [RULE_GROUPS.index(load_rules().by_id[finding.rule].group) for finding in made]
    assert groups == sorted(groups)
    assert set(groups) == {0, 1, 2, 3, 5}


def test_the_same_facts_give_the_same_findings_in_any_order():
    forth = conclude(RUN, load_rules())
    back = conclude(RUN[::-1], load_rules())
    assert {(one.rule, one.says) for one in forth} == {(one.rule, one.says) for one in back}
    assert forth == conclude(RUN, load_rules())


def test_a_later_group_sees_what_an_earlier_one_found():
    early = a_rule(id="early")
    late = a_rule(
        id="late",
        group="advice",
        when="  - {fact: pattern, as: r, where: {rule: early}}",
        then="  - {finding: advice}",
    )
    assert [one.rule for one in conclude(RUN, Rules((late, early)))] == ["early", "late"]


def test_rules_of_one_group_do_not_see_each_other():
    early = a_rule(id="early")
    other = a_rule(id="other", when="  - {fact: pattern, as: r}")
    assert [one.rule for one in conclude(RUN, Rules((early, other)))] == ["early"]


def test_a_finding_can_be_followed_to_the_facts_at_its_root():
    advice = named(findings("mounted-6", "response=FFFFFF oil=15C"), "warm-the-oil")
    assert advice.sources[0].rule == "oil-cold"
    assert {one.kind for one in advice.roots()} == {"temperature", "run"}
    assert all(isinstance(one, Fact) for one in advice.roots())


def test_a_finding_says_what_made_it_fire_and_what_was_not_there():
    made = named(findings("mounted-12", "bleed=FFFFFFFFFFFF"), "reseat-couplers-first")
    assert made.because == (
        "All 12 rows failed run 1 (bleed)",
        "no pattern with rule everything-in-one-check",
        "no standing with run 1",
    )


@pytest.mark.parametrize("rule", ["everything", "everything-in-one-check"])
def test_a_rerun_of_the_rows_that_failed_is_not_everything(rule: str):
    made = findings("mounted-6", "bleed=PPPPPP response=PPPFFF response=...FFF")
    assert rule not in {one.rule for one in made}


def test_two_runs_of_which_one_is_the_other_turned_round_are_said_to_be_once():
    made = findings("mounted-6", "response=PPFPPP response=FFPFFF")
    assert [one.values["run"] for one in made if one.rule == "results-turned-round"] == [2]


def test_a_finding_names_the_runs_rows_and_parts_it_is_about():
    made = named(findings("mounted-12", "response=PPPPPPFFFFFF"), "whole-section")
    assert made.about == ("run-1", "section-2", "row-7", "row-12")


def test_evidence_that_two_rules_agree_on_counts_once():
    twins = [
        a_rule(id=f"rule-{n}", group="circumstances", then=STATE.format("warm")) for n in (1, 2)
    ]
    assert [one.rule for one in conclude(RUN, Rules(tuple(twins)))] == ["rule-1"]


def test_evidence_that_two_rules_disagree_on_is_an_error():
    rules = [
        a_rule(id=state, group="circumstances", then=STATE.format(state))
        for state in ("warm", "cold")
    ]
    with pytest.raises(
        RuleConflictError, match=r"expected one state for run-1, got two: warm says"
    ):
        conclude(RUN, Rules(tuple(rules)))


def test_an_error_while_a_rule_concludes_is_not_swallowed():
    """The engine swallows what its consequents raise; nothing of ours runs inside it."""
    values = '{run: "{r.run}", check: "{r.check}", place: "no id {r.run}"}'
    then = f"  - {{finding: pattern, values: {values}}}"
    with pytest.raises(
        ValueError, match=r"expected an identifier for pattern.place, got 'no id 1'"
    ):
        conclude(RUN, Rules((a_rule(then=then),)))


def test_free_text_never_becomes_a_fact():
    with pytest.raises(ValueError, match=r"expected an identifier for history\.answer"):
        fact("history", circumstance="washed", answer="yes, on Monday")


@pytest.mark.parametrize("number", [float("inf"), float("nan"), 1e300, "12", True])
def test_only_usable_numbers_become_facts(number):
    with pytest.raises(ValueError, match=r"expected a number for pressure\.bar"):
        fact("pressure", run=1, check="bleed", circumstance="supply", bar=number)


def cautions(act: Fact, typed: str = "") -> set[str]:
    known = facts("mounted-12", typed)
    made = advise([act], known, conclude(known, load_rules()), load_rules())
    assert all(one.values["act"] == act.values["act"] for one in made if one.kind == "caution")
    return {one.rule for one in made}


def test_a_rerun_keeps_people_away_from_the_rows():
    assert cautions(rerun_act("response@5-7", "response", 3)) == {
        "nobody-near-rows",
        "take-the-hose-off-first",
    }


def test_a_bleed_is_set_up_with_the_tractor_off():
    assert "bleed-hose-with-tractor-off" in cautions(rerun_act("bleed@1-6", "bleed", 6))


def test_a_question_needs_no_caution():
    assert cautions(ask_act("ask@oil", "oil")) == set()


def test_a_voltage_is_measured_on_a_live_circuit():
    measurement = machine("mounted-12").parts["row-6/connector"].measurement("voltage-under-load")
    told = cautions(measure_act("v", machine("mounted-12"), "row-6/connector", measurement))
    assert told == {"live-circuit", "raised-on-locks"}


def test_opening_the_oil_side_says_that_pressure_must_be_gone():
    remedy = machine("mounted-12").parts["row-6/valve"].remedy("replace-valve")
    told = cautions(
        remedy_act("r", machine("mounted-12"), "row-6/valve", remedy),
        "response=PPPPPFPPPPPP oil=60C",
    )
    assert {
        "pressure-gone-first",
        "injection-is-an-emergency",
        "hot-oil",
        "swap-before-buying",
        "bleed-after-opening",
    } <= told


@pytest.mark.parametrize("name", ["mounted-12", "folding-48"])
def test_every_act_at_a_part_carries_a_caution_or_says_why_none(name: str):
    parts = machine(name).parts
    safe = {
        f"{one.id}@{part}"
        for part, kind in parts.items()
        for one in kind.measurements
        if one.safe_because
    }
    acts = [
        remedy_act(f"{one.id}@{part}", machine(name), part, one)
        for part, kind in parts.items()
        for one in kind.remedies
    ]
    acts += [
        measure_act(f"{one.id}@{part}", machine(name), part, one)
        for part, kind in parts.items()
        for one in kind.measurements
    ]
    warned = {
        one.values["act"] for one in advise(acts, (), (), load_rules()) if one.kind == "caution"
    }
    own = {f"{one.id}@{part}" for part, k in parts.items() for one in k.remedies if one.caution}
    assert {act.values["act"] for act in acts} - warned - own == safe


def test_every_look_has_a_caution_of_its_own_or_says_why_none():
    bare = [
        (kind.id, one.id)
        for kind in load_knowledge().parts.values()
        for one in kind.measurements
        if one.kind == "look" and (one.caution is None) == (one.safe_because is None)
    ]
    assert bare == []


def test_every_kind_of_finding_is_made_by_some_shipped_rule():
    assert {one.finding for rule in load_rules().rules for one in rule.then} == set(FINDINGS)
