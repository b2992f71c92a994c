"""Small worlds for the tests of rules: what is typed, and what the rules find in it."""

from __future__ import annotations

import shlex
from functools import cache
from typing import Any

from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import Machine, load_machine
from diagnose.observations.typed import read_typed
from diagnose.rules.conclude import conclude
from diagnose.rules.facts import facts_of
from diagnose.rules.finding import Fact, RuleFinding
from diagnose.rules.loading import load_rules
from diagnose.rules.rulefile import Rule, RuleFile, rule_of

RULE = """
id: {id}
group: {group}
says: {says}
when:
{when}
then:
{then}
why: because
wrong_when: never
source: judgement
fires:
  - {{machine: mounted-6, says: x}}
near_miss:
  - {{machine: mounted-6}}
"""
WHEN = "  - {fact: run, as: r}"
THEN = '  - {finding: pattern, values: {run: "{r.run}", check: "{r.check}"}}'


@cache
def machine(name: str) -> Machine:
    return load_machine(name, load_knowledge())


def facts(name: str, typed: str) -> tuple[Fact, ...]:
    """The facts of what is typed about a machine."""
    case = read_typed(machine(name), shlex.split(typed), load_knowledge())
    return facts_of(machine(name), case, load_knowledge())


def findings(name: str, typed: str) -> tuple[RuleFinding, ...]:
    """What the shipped rules find in it."""
    return conclude(facts(name, typed), load_rules())


def rule_text(when: str = WHEN, then: str = THEN, **fields: str) -> str:
    """A rule as YAML; only what a test is about need be given."""
    filled = {"id": "sample", "group": "patterns", "says": "said", **fields}
    return RULE.format(when=when, then=then, **filled)


def rule_file(text: str, source: str = "sample.yaml") -> RuleFile:
    """The text as a rule whose form is right."""
    file, problems = rule_of(read_text(text, source))
    assert file is not None
    assert problems == []
    return file


def a_rule(**fields: Any) -> Rule:
    """A rule made from YAML fields."""
    return rule_file(rule_text(**fields)).rule
