"""Whether the tests on one field can all hold at once."""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.reasoning.fields import WHOLE, Field
from diagnose.reasoning.finding import Value
from diagnose.reasoning.rulefile import ORDERED, Test

FINEST = 0.0001
"""Numbers closer than this are the same to the rules."""


def can_hold(field: Field, tests: Iterable[Test]) -> bool:
    """Whether some value of the field passes every test that names constants.

    >>> number = Field("number", "degrees")
    >>> can_hold(number, [Test("below", 3), Test("above", 5)])
    False
    >>> can_hold(Field("count", "rows"), [Test("above", 3), Test("below", 4)])
    False
    >>> can_hold(Field("count", "rows"), [Test("below", 0)])
    False
    >>> can_hold(number, [Test("above", 3), Test("below", 4)])
    True
    """
    fixed = [test for test in tests if test.constants]
    named = [set(test.constants) for test in fixed if test.operator in ("equals", "one_of")]
    if field.choices:
        named.append(set(field.choices))
    if named:
        return any(passes(value, fixed) for value in set.intersection(*named))
    return not field.numeric or _some_number(field.type in WHOLE, fixed)


def passes(value: Value, tests: Iterable[Test]) -> bool:
    """Whether the value passes every test; the tests must name constants only.

    No text is above or below anything.

    >>> passes(4, [Test("at_least", 3), Test("not", 5)]), passes("oil", [Test("above", 3)])
    (True, False)
    """
    return all(_passes(value, test) for test in tests)


def _passes(value: Value, test: Test) -> bool:
    if test.operator == "one_of":
        return value in test.constants
    (wanted,) = test.constants
    if test.operator in ORDERED:
        if isinstance(value, str) or isinstance(wanted, str):
            return False
        return _in_order(test.operator, float(value), float(wanted))
    return (value == wanted) is (test.operator == "equals")


def _in_order(operator: str, value: float, limit: float) -> bool:
    if operator in ("below", "at_most"):
        return value < limit or (operator == "at_most" and value == limit)
    return value > limit or (operator == "at_least" and value == limit)


def _some_number(whole: bool, tests: list[Test]) -> bool:
    """Every limit and its two neighbours: one of them fits if any number does."""
    step = 1 if whole else FINEST
    limits = {float(c) for test in tests for c in test.constants if not isinstance(c, str)}
    tries = {round(limit + delta, 4) for limit in limits for delta in (-step, 0, step)}
    possible = (value for value in tries if not whole or value >= 0)
    return not limits or any(passes(value, tests) for value in possible)
