"""Whether the tests on one field can all hold at once."""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import pairwise

from diagnose.reasoning.fields import WHOLE, Field
from diagnose.reasoning.finding import Value
from diagnose.reasoning.rulefile import ORDERED, Test


def can_hold(field: Field, tests: Iterable[Test]) -> bool:
    """Whether some value of the field passes every test that names constants.

    >>> number = Field("number", "degrees")
    >>> can_hold(number, [Test("below", 3), Test("above", 5)])
    False
    >>> can_hold(Field("count", "rows"), [Test("above", 3), Test("below", 4)])
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

    >>> passes(4, [Test("at_least", 3), Test("not", 5)])
    True
    """
    return all(_passes(value, test) for test in tests)


def _passes(value: Value, test: Test) -> bool:
    if test.operator == "one_of":
        return value in test.constants
    (wanted,) = test.constants
    if test.operator in ORDERED:
        return _in_order(test.operator, float(value), float(wanted))
    return (value == wanted) is (test.operator == "equals")


def _in_order(operator: str, value: float, limit: float) -> bool:
    if operator in ("below", "at_most"):
        return value < limit or (operator == "at_most" and value == limit)
    return value > limit or (operator == "at_least" and value == limit)


def _some_number(whole: bool, tests: list[Test]) -> bool:
    """Every limit, its neighbours and the middles between limits: one of them fits if any does."""
    limits = sorted({float(c) for test in tests for c in test.constants if not isinstance(c, str)})
    if whole:
        tries = {step + delta for step in limits for delta in (-1, 0, 1)}
        tries |= {math.floor(step) for step in limits} | {math.ceil(step) for step in limits}
        return not limits or any(passes(value, tests) for value in tries if value == int(value))
    between = [(low + high) / 2 for low, high in pairwise(limits)]
    outside = [limits[0] - 1, limits[-1] + 1] if limits else []
    return not limits or any(passes(value, tests) for value in (*limits, *between, *outside))
