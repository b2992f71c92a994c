"""Whether a condition can ever hold: what a field's value may be, and what a test leaves of it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping

from diagnose.record import record
from diagnose.rules.finding import FactValue
from diagnose.rules.rulefile import ORDERED, FieldTest, filled

FINEST = 0.0001
"""Numbers closer than this are the same to the rules."""


def can_hold(field: Field, tests: Iterable[FieldTest]) -> bool:
    """Whether some value of the field passes every test that names constants.

    >>> number = Field("number", "degrees")
    >>> can_hold(number, [FieldTest("below", 3), FieldTest("above", 5)])
    False
    >>> can_hold(Field("count", "rows"), [FieldTest("above", 3), FieldTest("below", 4)])
    False
    >>> can_hold(Field("count", "rows"), [FieldTest("below", 0)])
    False
    >>> can_hold(number, [FieldTest("above", 3), FieldTest("below", 4)])
    True
    """
    fixed = [test for test in tests if test.constants]
    named = [set(test.constants) for test in fixed if test.operator in ("equals", "one_of")]
    if field.choices:
        named.append(set(field.choices))
    if named:
        return any(passes(value, fixed) for value in set.intersection(*named))
    return not field.numeric or _some_number(field.type in _WHOLE, fixed)


def passes(value: FactValue, tests: Iterable[FieldTest]) -> bool:
    """Whether the value passes every test; the tests must name constants only.

    No text is above or below anything.

    >>> passes(4, [FieldTest("at_least", 3), FieldTest("not", 5)]), passes("oil",
    ...     [FieldTest("above", 3)])
    (True, False)
    """
    return all(_passes(value, test) for test in tests)


def _passes(value: FactValue, test: FieldTest) -> bool:
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


def _some_number(whole: bool, tests: list[FieldTest]) -> bool:
    """Every limit and its two neighbours: one of them fits if any number does."""
    step = 1 if whole else FINEST
    limits = {float(c) for test in tests for c in test.constants if not isinstance(c, str)}
    tries = {round(limit + delta, 4) for limit in limits for delta in (-step, 0, step)}
    possible = (value for value in tries if not whole or value >= 0)
    return not limits or any(passes(value, tests) for value in possible)


_NUMBERS = frozenset({"number", "count", "run", "row"})
_WHOLE = frozenset({"count", "run", "row"})

_IDENTIFIER = re.compile(r"[A-Za-z0-9][A-Za-z0-9_./:@,+-]{0,999}")
"""The longest is a rerun of every other row of the widest machine, with 400 letters."""
_LARGEST = 1e11


@record
class Field:
    """One named value: its type, what it means, the only choices, what it is when left out.

    Whole numbers are never negative; ``positive`` numbers are above 0.
    """

    type: str
    means: str
    choices: tuple[str, ...] = ()
    default: FactValue | None = None
    positive: bool = False

    @property
    def numeric(self) -> bool:
        """Whether it holds a number.

        >>> Field("row", "row number").numeric, Field("check", "id").numeric
        (True, False)
        """
        return self.type in _NUMBERS


@record
class Kind:
    """A kind of fact (``made_by`` is empty) or of finding (the groups of rules that make it).

    ``words`` is a template over the fields: one fact as a person would say it.
    """

    name: str
    means: str
    fields: Mapping[str, Field]
    words: str = ""
    made_by: tuple[str, ...] = ()

    def in_words(self, values: Mapping[str, FactValue]) -> str:
        """One fact of this kind as a person would say it.

        >>> Kind("run", "", {}, "run {run}").in_words({"run": 2})
        'run 2'
        """
        return filled(self.words, lambda hole: values[hole.name])


def complaint_about(field: Field, value: object) -> str:
    """What was expected instead of ``value``; empty when the field can hold it.

    >>> complaint_about(Field("run", ""), 2), complaint_about(Field("run", ""), "2")
    ('', 'a whole number')
    >>> complaint_about(Field("count", ""), -3)
    'a whole number, 0 or more'
    >>> complaint_about(Field("choice", "", ("yes", "no")), "maybe")
    'yes or no'
    """
    if field.numeric:
        return _complaint_about_number(field, value)
    if not isinstance(value, str) or not _IDENTIFIER.fullmatch(value):
        return "an identifier"
    if field.choices and value not in field.choices:
        return " or ".join(field.choices)
    return ""


def _complaint_about_number(field: Field, value: object) -> str:
    whole = field.type in _WHOLE
    wanted = "a whole number" if whole else "a number"
    if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
        return wanted
    if not math.isfinite(value) or abs(value) >= _LARGEST:
        return wanted
    if whole and value < 0:
        return "a whole number, 0 or more"
    return "a number above 0" if field.positive and value <= 0 else ""
