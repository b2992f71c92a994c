"""From facts to findings: the rules run group by group, each seeing what earlier ones found."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from diagnose.errors import RowfaultError
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.rules.engine import Item, Match, Stratum
from diagnose.rules.facts import facts_of
from diagnose.rules.finding import Fact, FactValue, RuleFinding
from diagnose.rules.loading import Rules, load_rules
from diagnose.rules.rulefile import Conclusion, Condition, FieldTest, Hole, filled, only_hole
from diagnose.rules.vocabulary import FACT_KINDS, FACTS, complete

EVIDENCE: Mapping[str, tuple[str, ...]] = {
    "state": ("run", "circumstance"),
    "reading": ("nth",),
}
"""Findings that count as evidence, once for each of these values."""

_ABOUT: Mapping[str, Callable[[FactValue], str]] = {
    "run": lambda value: f"run-{value}",
    "row": lambda value: f"row-{value}",
    "part": str,
    "place": str,
    "act": str,
}


class RuleConflictError(RowfaultError):
    """Two rules drew different conclusions from the same evidence."""


def conclude_case(
    machine: Machine,
    case: Case,
    knowledge: Knowledge | None = None,
    rules: Rules | None = None,
) -> tuple[RuleFinding, ...]:
    """Everything the rules find in a case, in the order of groups, rules and facts.

    Raises `RuleConflictError` when two rules turn one observation into different evidence.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> found = conclude_case(machine, read_typed(machine, ["response=FFFFFF", "oil=15C"]))
    >>> found[0].rule, dict(found[0].values)["state"]
    ('oil-cold', 'cold')
    """
    facts = facts_of(machine, case, knowledge or load_knowledge())
    return conclude(facts, rules or load_rules())


def conclude(facts: Sequence[Fact], rules: Rules) -> tuple[RuleFinding, ...]:
    """The same for facts in hand.

    >>> conclude((), load_rules())
    ()
    """
    sources: list[Fact | RuleFinding] = list(facts)
    for stratum in rules.strata:
        sources += _once_each(_found(stratum, sources, rules))
    return tuple(source for source in sources if isinstance(source, RuleFinding))


def advise(
    acts: Sequence[Fact], facts: Sequence[Fact], findings: Sequence[RuleFinding], rules: Rules
) -> tuple[RuleFinding, ...]:
    """Advice and cautions about proposed acts, given what is known of the case.

    >>> from diagnose.rules.acts import rerun_act
    >>> told = advise([rerun_act("bleed@1-6", "bleed", 6)], (), (), load_rules())
    >>> [finding.rule for finding in told if finding.kind == "caution"]
    ['bleed-hose-with-tractor-off', 'nobody-near-rows']
    """
    return tuple(_found(rules.about_acts, [*acts, *facts, *findings], rules))


def _found(
    stratum: Stratum, sources: Sequence[Fact | RuleFinding], rules: Rules
) -> list[RuleFinding]:
    matches = stratum.matches([_item(source) for source in sources])
    return [finding for match in matches for finding in _conclusions(match, sources, rules)]


def _item(source: Fact | RuleFinding) -> Item:
    if isinstance(source, Fact):
        return Item(source.kind, source.values)
    return Item(source.kind, {**source.values, "rule": source.rule})


def _conclusions(
    match: Match, sources: Sequence[Fact | RuleFinding], rules: Rules
) -> Iterator[RuleFinding]:
    rule = rules.by_id[match.rule]
    used = tuple(sources[place] for place in match.items)
    bound = {one.as_: source for one, source in zip(rule.needed, used, strict=True) if one.as_}

    def look_up(hole: Hole) -> FactValue:
        source = bound[hole.name]
        if hole.field == "rule" and isinstance(source, RuleFinding):
            return source.rule
        return source.values[hole.field]

    says = filled(rule.says, look_up)
    because = (*map(_in_words, used), *(_absent(one, look_up) for one in rule.forbidden))
    for conclusion in rule.then:
        values = _values(conclusion, look_up)
        about = _about(conclusion.finding, values, used)
        yield RuleFinding(rule.id, conclusion.finding, values, says, about, because, used)


def _values(
    conclusion: Conclusion, look_up: Callable[[Hole], FactValue]
) -> Mapping[str, FactValue]:
    def value(written: FactValue) -> FactValue:
        if not isinstance(written, str) or "{" not in written:
            return written
        hole = only_hole(written)
        return look_up(hole) if hole else filled(written, look_up)

    given = {name: value(written) for name, written in conclusion.values.items()}
    return complete(conclusion.finding, given)


def _in_words(source: Fact | RuleFinding) -> str:
    if isinstance(source, RuleFinding):
        return source.says
    return FACTS[source.kind].in_words(source.values)


def _absent(condition: Condition, look_up: Callable[[Hole], FactValue]) -> str:
    """What was looked for and not found, such as ``no standing with run 2``."""

    def value(test: FieldTest) -> str:
        if isinstance(test.value, Hole):
            return str(look_up(test.value))
        return " or ".join(map(str, test.constants))

    tests = [
        f"{field} {value(test)}"
        if test.operator in ("equals", "one_of")
        else f"{field} {test.operator} {value(test)}"
        for field, test in condition.tests()
    ]
    return f"no {condition.kind} with {', '.join(tests)}".replace("_", " ")


def _about(
    kind: str, values: Mapping[str, FactValue], used: Sequence[Fact | RuleFinding]
) -> tuple[str, ...]:
    """Runs, rows, parts and places that the conclusion or its sources name, each once."""
    named = [(kind, values), *((source.kind, source.values) for source in used)]
    ids = [
        _ABOUT[field.type](holder[name])
        for one, holder in named
        for name, field in FACT_KINDS[one].fields.items()
        if field.type in _ABOUT and holder[name] not in (0, "none")
    ]
    return tuple(dict.fromkeys(ids))


def _once_each(findings: Sequence[RuleFinding]) -> Iterator[RuleFinding]:
    """Evidence that two rules agree on counts once; evidence they disagree on is an error."""
    seen: dict[tuple[object, ...], RuleFinding] = {}
    for finding in findings:
        if finding.kind not in EVIDENCE:
            yield finding
            continue
        key = (finding.kind, *(finding.values[name] for name in EVIDENCE[finding.kind]))
        earlier = seen.setdefault(key, finding)
        if earlier is finding:
            yield finding
        elif earlier.values != finding.values:
            raise RuleConflictError(
                f"expected one {finding.kind} for {', '.join(finding.about)}, got two: "
                f"{earlier.rule} says {dict(earlier.values)}, {finding.rule} says "
                f"{dict(finding.values)}; mend or remove one of the two rules"
            )
