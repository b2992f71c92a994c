"""The manual page of a rule, written from its file."""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator

from diagnose.reasoning.rulefile import Conclusion, Condition, Example, Firing, Rule, Test
from diagnose.reasoning.template import Hole
from diagnose.reasoning.vocabulary import KINDS
from diagnose.ui.manual.pages import bullets, page
from diagnose.ui.words import plain, sentence

OPERATORS = {
    "equals": "is",
    "not": "is not",
    "below": "is below",
    "at_least": "is at least",
    "above": "is above",
    "at_most": "is at most",
    "one_of": "is one of",
}


def rule_page(rule: Rule) -> str:
    """What a rule says, when, why, when it is wrong, its source, and its examples.

    >>> from diagnose.reasoning.loading import load_rules
    >>> rule_page(load_rules().by_id["oil-cold"]).splitlines()[0]
    '# rule oil-cold'
    """
    trial = "It is on trial: watch whether it helps." if rule.status == "on-trial" else ""
    return page(
        f"rule {rule.id}",
        ("What it says", f"{sentence(rule.says)} Words in braces are filled in from the case."),
        ("When", bullets(map(condition_words, rule.when))),
        ("Then it finds", bullets(map(conclusion_words, rule.then))),
        ("Why", sentence(rule.why)),
        ("When it is wrong", sentence(rule.wrong_when)),
        ("Source", sentence(rule.source)),
        ("Standing", trial),
        ("An example", "\n\n".join(_firing(example) for example in rule.fires)),
        ("A near miss", "\n\n".join(map(_example, rule.near_miss))),
    )


def condition_words(condition: Condition) -> str:
    """One condition as a sentence.

    >>> cold = {"fact": "temperature", "as": "oil", "where": {"celsius": {"below": 20}}}
    >>> condition_words(Condition.model_validate(cold))
    'a temperature (a temperature noted for a run), called oil, where celsius is below 20'
    """
    means = f"{plain(condition.kind)} ({_meaning(condition.kind)})"
    start = f"{_article(condition.kind)} {means}" if condition.fact else f"no {means}"
    named = f", called {condition.as_}," if condition.as_ else ""
    tests = " and ".join(_test_words(field, test) for field, test in condition.tests())
    return f"{start}{named} where {tests}" if tests else f"{start}{named}".rstrip(",")


def _meaning(kind: str) -> str:
    return KINDS[kind].means.partition(";")[0] if kind in KINDS else "not known"


def _article(word: str) -> str:
    """The article before a word.

    >>> _article("act"), _article("run")
    ('an', 'a')
    """
    return "an" if word[:1] in "aeiou" and not word.startswith("un") else "a"


def _test_words(field: str, test: Test) -> str:
    if isinstance(test.value, Hole):
        value = f"the {plain(test.value.field)} of {test.value.name}"
    else:
        value = ", ".join(map(str, test.constants))
    return f"{plain(field)} {OPERATORS[test.operator]} {value}"


def conclusion_words(conclusion: Conclusion) -> str:
    """One conclusion as a sentence.

    >>> conclusion_words(Conclusion(finding="standing", values={"standing": "weak"}))
    'a standing (how far a run can be trusted), with standing weak'
    """
    kind = conclusion.finding
    found = f"{_article(kind)} {plain(kind)} ({_meaning(kind)})"
    values = ", ".join(f"{plain(name)} {value}" for name, value in conclusion.values.items())
    return f"{found}, with {values}" if values else found


def _example(example: Example) -> str:
    act = f"with the act {json.dumps(dict(example.act))}" if example.act else ""
    if not example.typed:
        return f"On {example.machine}, {act}."
    line = f"    rowfault rank {shlex.quote(example.machine)} {example.typed}"
    return f"{line}\n\n{act}".rstrip()


def _firing(example: Firing) -> str:
    outcome = "\n".join(_outcome(example))
    return f"{_example(example)}\n\n{outcome}"


def _outcome(example: Firing) -> Iterator[str]:
    if example.says:
        yield f"It says: {sentence(example.says)}"
    if example.values:
        yield f"It finds {', '.join(f'{plain(k)} {v}' for k, v in example.values.items())}."
