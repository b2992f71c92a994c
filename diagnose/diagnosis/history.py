"""What the machine's past makes likely: what was told, and the average over what was not.

Rules say by what an answer multiplies prior odds. Answers that one rule looks at together, such as
both questions about hooking up, are one *past*: its rules are tried on every combination of them.
While some of a past is unknown, the prior of each part is its average over the answers that are
left, each with its own stated chance. Parts are averaged one by one: that a first hook-up would
bring air to many rows at once is not reckoned with until somebody has told.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache, cached_property
from itertools import product
from math import prod

from diagnose.knowledge.base import Knowledge
from diagnose.record import record
from diagnose.rules.conclude import conclude
from diagnose.rules.finding import RuleFinding
from diagnose.rules.loading import Rules, load_rules
from diagnose.rules.rulefile import Rule
from diagnose.rules.vocabulary import fact

_Asked = tuple[tuple[str, tuple[str, ...]], ...]
"""Circumstances of the past, each with its answers."""


@record
class Past:
    """Circumstances that rules look at together, and what each combination of answers concludes."""

    circumstances: tuple[str, ...]
    findings: Mapping[tuple[str, ...], tuple[RuleFinding, ...]]

    @cached_property
    def kinds(self) -> frozenset[str]:
        """The part kinds whose priors it can move.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> by_name = {past.circumstances: past for past in pasts(load_knowledge())}
        >>> sorted(by_name["rodents",].kinds)
        ['branch', 'bus', 'connector']
        """
        every = (one for findings in self.findings.values() for one in findings)
        return frozenset(str(one.values["part_kind"]) for one in every)

    def unknown(self, told: Mapping[str, str]) -> bool:
        """Whether some of it was not told.

        >>> hooked_up = Past(("first-hookup", "rehooked"), {})
        >>> hooked_up.unknown({"first-hookup": "no"})
        True
        >>> hooked_up.unknown({"first-hookup": "no", "rehooked": "no"})
        False
        """
        return any(name not in told for name in self.circumstances)

    def left(
        self, knowledge: Knowledge, told: Mapping[str, str]
    ) -> Iterator[tuple[float, tuple[RuleFinding, ...]]]:
        """The chance of every combination that is left, and its findings; chances sum to 1.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> known = load_knowledge()
        >>> by_name = {past.circumstances: past for past in pasts(known)}
        >>> [(chance, len(found)) for chance, found in by_name["rodents",].left(known, {})]
        [(0.95, 0), (0.05, 4)]
        >>> [chance for chance, _ in by_name["rodents",].left(known, {"rodents": "yes"})]
        [1]
        """
        free = [name for name in self.circumstances if name not in told]
        for answers, findings in self.findings.items():
            given = dict(zip(self.circumstances, answers, strict=True))
            if all(told.get(name, answer) == answer for name, answer in given.items()):
                states = [knowledge.circumstances[name].state(given[name]) for name in free]
                yield prod(state.prior_for("any") for state in states), findings


def pasts(knowledge: Knowledge) -> tuple[Past, ...]:
    """Every past that moves a prior.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> [past.circumstances for past in pasts(load_knowledge()) if len(past.circumstances) > 1]
    [('first-hookup', 'rehooked')]
    """
    scope = knowledge.of_scope("case").values()
    asked = tuple((each.id, tuple(state.id for state in each.states)) for each in scope)
    return _pasts(asked, id(load_rules()))


@cache
def _pasts(asked: _Asked, _rules: int) -> tuple[Past, ...]:
    rules, answers = load_rules(), dict(asked)
    groups = _together([name for name, _ in asked], rules)
    combinations = [list(product(*(answers[name] for name in group))) for group in groups]
    found: list[dict[tuple[str, ...], tuple[RuleFinding, ...]]] = [{} for _ in groups]
    for place in range(max(map(len, combinations), default=0)):
        some = {g: each[place] for g, each in enumerate(combinations) if place < len(each)}
        told = {n: a for g, each in some.items() for n, a in zip(groups[g], each, strict=True)}
        findings = [one for one in _concluded(told, rules) if one.kind == "prior"]
        for g, each in some.items():
            found[g][each] = tuple(
                one for one in findings if circumstances_behind(one) & {*groups[g]}
            )
    pairs = zip(groups, found, strict=True)
    return tuple(Past(group, each) for group, each in pairs if any(each.values()))


def _concluded(told: Mapping[str, str], rules: Rules) -> tuple[RuleFinding, ...]:
    facts = [fact("history", circumstance=name, answer=answer) for name, answer in told.items()]
    return conclude(facts, rules)


def circumstances_behind(finding: RuleFinding) -> frozenset[str]:
    """The circumstances of the past that a finding goes back to; none when to anything else too.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> by_name = {past.circumstances: past for past in pasts(load_knowledge())}
    >>> sorted(circumstances_behind(by_name["rodents",].findings["yes",][0]))
    ['rodents']
    """
    roots = finding.roots()
    if any(root.kind != "history" for root in roots):
        return frozenset()
    return frozenset(str(root.values["circumstance"]) for root in roots)


def _together(names: Sequence[str], rules: Rules) -> list[tuple[str, ...]]:
    """The circumstances in groups, so that no rule about priors looks at two of them."""
    groups = [{name} for name in names]
    for rule in rules.by_id.values():
        if any(one.finding == "prior" for one in rule.then):
            seen = set(_looked_at(rule, names))
            joined = set().union(*(group for group in groups if group & seen)) if seen else set()
            groups = [group for group in groups if not group & seen] + [joined] * bool(joined)
    return sorted(tuple(name for name in names if name in group) for group in groups)


def _looked_at(rule: Rule, names: Iterable[str]) -> Iterator[str]:
    """The circumstances of the past that a rule's conditions are about."""
    for condition in rule.when:
        if condition.kind == "history":
            named = [c for test in condition.where.get("circumstance", ()) for c in test.constants]
            yield from map(str, named or names)
