"""A second way to match rules: try every combination of facts. Slow and plain, for tests only."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import permutations

from diagnose.rules.engine import Item
from diagnose.rules.rulefile import Condition, FieldTest, Hole, Rule
from diagnose.rules.satisfiable import passes


def matches(rules: Sequence[Rule], items: Sequence[Item]) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Every (rule id, places of items) for which the rule holds."""
    for rule in rules:
        for places in permutations(range(len(items)), len(rule.needed)):
            if _holds(rule, [items[place] for place in places], items):
                yield rule.id, places


def _holds(rule: Rule, chosen: Sequence[Item], items: Sequence[Item]) -> bool:
    bound: dict[str, Item] = {}
    for condition, item in zip(rule.needed, chosen, strict=True):
        if not _fits(condition, item, bound):
            return False
        if condition.as_:
            bound[condition.as_] = item
    others = [item for item in items if not any(item is used for used in chosen)]
    return not any(_fits(one, item, bound) for one in rule.forbidden for item in others)


def _fits(condition: Condition, item: Item, bound: Mapping[str, Item]) -> bool:
    return item.kind == condition.kind and all(
        passes(item.values[field], [_fixed(test, bound)]) for field, test in condition.tests()
    )


def _fixed(test: FieldTest, bound: Mapping[str, Item]) -> FieldTest:
    if isinstance(test.value, Hole):
        return FieldTest(test.operator, bound[test.value.name].values[test.value.field])
    return test
