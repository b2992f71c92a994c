"""The rule engine: durable-rules, and everything one must know to use version 2.0.28 safely.

The only file that imports it. Its compiled core is used directly: rules go in as JSON, facts go in
as JSON, matches come out as JSON. So nothing of ours runs inside the engine, no exception can get
lost there, and the background threads of its Python layer never start. What this file works around:

- It chains while facts arrive, so a rule with something that must *not* be there could fire too
  early. Every rule therefore waits first for a gate, and the gate fact is asserted last.
- A test between two facts that fails as the last of its list reads past the list's end and may
  crash the process. Every such list ends with an equality that always holds (``_ALWAYS``).
- Deleting a story in which nothing ever fired frees memory that was never allocated, and may
  crash too. So one rule, ``opened``, fires on the gate alone.
- Tests after an ``$or`` are skipped, so ``$or`` comes last.
- Numbers with an exponent are refused and numbers are compared without types, so numbers go in
  as whole ten-thousandths and names and fields get neutral names of our own.
- A fact that matches no rule is reported as an error (status 1); here that is nothing unusual.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Any

from diagnose.errors import RowfaultError
from diagnose.record import record
from diagnose.rules.finding import FactValue
from diagnose.rules.rulefile import Condition, FieldTest, Hole, Rule
from diagnose.rules.satisfiable import FINEST

RULES_AT_ONCE = 24
"""Rules per engine ruleset: a fact that starts more than 64 tests at once is refused."""

_SCALE = round(1 / FINEST)
_GATE: dict[str, object] = {"gate": {"k": "gate"}}
_ALWAYS = {"w": {"gate": "w"}}
_OPERATORS = {"not": "$neq", "below": "$lt", "at_most": "$lte", "above": "$gt", "at_least": "$gte"}
_stories = itertools.count(1)
_names = itertools.count(1)


@cache
def _core() -> Any:
    """The engine's own module."""
    # Reading rules needs no engine, so that a manual is made where none is built.
    import durable_rules_engine  # type: ignore[import-not-found, import-untyped, unused-ignore]  # noqa: PLC0415

    return durable_rules_engine


class EngineError(RowfaultError):
    """The rule engine refused rules or facts that should be sound."""


@record
class Item:
    """What the engine matches: a kind and values, without the words for people."""

    kind: str
    values: Mapping[str, FactValue]


@record
class Match:
    """One firing: the rule's id, and for each needed condition in order its item's place."""

    rule: str
    items: tuple[int, ...]


class Stratum:
    """Rules that run together: none sees what another concludes.

    One item never stands for two conditions of a rule, and what must not be there means
    nothing other than the items that the rule already uses.

    >>> Stratum([]).matches([Item("run", {"run": 1})])
    []
    """

    def __init__(self, rules: Sequence[Rule]) -> None:
        self.rules = tuple(rules)
        self._sets = [_RuleSet(batch) for batch in _batches(self.rules)]

    def matches(self, items: Sequence[Item]) -> list[Match]:
        """Every firing, once each, in the order of rules and then of items.

        Raises `EngineError` when the engine refuses an item.

        >>> from diagnose.rules.loading import load_rules
        >>> stratum = Stratum([load_rules().by_id["engine-stopped"]])
        >>> on, off = ({"circumstance": "engine", "choice": choice} for choice in ("on", "off"))
        >>> stratum.matches([Item("setting", on), Item("setting", off)])
        [Match(rule='engine-stopped', items=(1,))]
        """
        found = [match for one in self._sets for match in one.matches(items)]
        order = {rule.id: place for place, rule in enumerate(self.rules)}
        return sorted(set(found), key=lambda match: (order[match.rule], match.items))


class _RuleSet:
    """One ruleset inside the engine."""

    def __init__(self, rules: Sequence[Rule]) -> None:
        self._by_name = {f"r{number}": rule for number, rule in enumerate(rules)}
        self._kinds = {condition.kind for rule in rules for condition in rule.when}
        definition = {name: {"all": _conditions(rule)} for name, rule in self._by_name.items()}
        definition["opened"] = {"all": [_GATE]}
        try:
            self._handle: int = _core().create_ruleset(f"set{next(_names)}", json.dumps(definition))
        except _core().error as error:
            ids = ", ".join(rule.id for rule in rules)
            raise EngineError(f"expected rules the engine takes, got {error} in {ids}") from error

    def matches(self, items: Sequence[Item]) -> set[Match]:
        story = str(next(_stories))
        facts = [
            _encoded(story, place, item)
            for place, item in enumerate(items)
            if item.kind in self._kinds
        ]
        gate = {"sid": story, "id": -1, "k": "gate", "w": 1}
        try:
            if facts:
                _core().assert_facts(self._handle, json.dumps(facts))
            _, state = _core().assert_fact(self._handle, json.dumps(gate))
            return {
                self._match(*one) for one in _firings(self._handle, state) if one[0] != "opened"
            }
        except _core().error as error:
            raise EngineError(f"expected facts the engine takes, got {error}") from error
        finally:
            _core().delete_state(self._handle, story)

    def _match(self, name: str, frame: Mapping[str, Any]) -> Match:
        rule = self._by_name[name]
        places = tuple(frame[f"c{number}"]["id"] for number in range(len(rule.needed)))
        return Match(rule.id, places)


def _firings(handle: int, state: int) -> Iterator[tuple[str, dict[str, Any]]]:
    _, message = _core().start_action_for_state(handle, state)
    while message:
        yield from json.loads(message).items()
        message = _core().complete_and_start_action(handle, state)


def _batches(rules: Sequence[Rule]) -> Iterator[Sequence[Rule]]:
    for start in range(0, len(rules), RULES_AT_ONCE):
        yield rules[start : start + RULES_AT_ONCE]


def _encoded(story: str, place: int, item: Item) -> dict[str, object]:
    values = {f"v_{name}": _scaled(value) for name, value in item.values.items()}
    return {"sid": story, "id": place, "k": item.kind, "w": 1, **values}


def _scaled(value: FactValue) -> int | str:
    return value if isinstance(value, str) else round(value * _SCALE)


def _conditions(rule: Rule) -> list[dict[str, object]]:
    """Gate, needed facts, forbidden facts; in this order each is matched."""
    names = {one.as_: f"c{number}" for number, one in enumerate(rule.needed) if one.as_}
    needed = [(f"c{number}", one) for number, one in enumerate(rule.needed)]
    forbidden = [(f"n{number}$not", one) for number, one in enumerate(rule.forbidden)]
    tests: list[dict[str, object]] = [
        {name: _condition(one, names)} for name, one in (*needed, *forbidden)
    ]
    return [_GATE, *tests]


def _condition(condition: Condition, names: Mapping[str, str]) -> dict[str, object]:
    """Tests in the order: constants, orders, other facts, the equality that holds, ``$or``."""
    fixed: list[object] = [{"k": condition.kind}]
    between: list[object] = []
    either: list[object] = []
    for field, test in sorted(condition.tests(), key=_constants_first):
        if isinstance(test.value, Hole):
            other = {names[test.value.name]: f"v_{test.value.field}"}
            between.append(_compared(f"v_{field}", test.operator, other))
        elif test.operator == "one_of":
            choices = [_compared(f"v_{field}", "equals", _scaled(c)) for c in test.constants]
            either.append({"$or": choices})
        else:
            fixed.append(_compared(f"v_{field}", test.operator, _scaled(test.constants[0])))
    return {"$and": [*fixed, *between, *([_ALWAYS] if between else []), *either]}


def _constants_first(pair: tuple[str, FieldTest]) -> tuple[bool, str]:
    return pair[1].operator != "equals", pair[0]


def _compared(field: str, operator: str, value: object) -> dict[str, object]:
    return {field: value} if operator == "equals" else {_OPERATORS[operator]: {field: value}}
