"""What a named value can hold: only numbers and identifiers, never free text.

The rule engine compares without types (a text is greater than any number) and refuses
infinities, so everything is checked here before it goes in.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from diagnose.reasoning.finding import Value
from diagnose.reasoning.template import filled
from diagnose.record import record

NUMBERS = frozenset({"number", "count", "run", "row"})
WHOLE = frozenset({"count", "run", "row"})

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
    default: Value | None = None
    positive: bool = False

    @property
    def numeric(self) -> bool:
        """Whether it holds a number.

        >>> Field("row", "row number").numeric, Field("check", "id").numeric
        (True, False)
        """
        return self.type in NUMBERS


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

    def in_words(self, values: Mapping[str, Value]) -> str:
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
    whole = field.type in WHOLE
    wanted = "a whole number" if whole else "a number"
    if isinstance(value, bool) or not isinstance(value, int if whole else (int, float)):
        return wanted
    if not math.isfinite(value) or abs(value) >= _LARGEST:
        return wanted
    if whole and value < 0:
        return "a whole number, 0 or more"
    return "a number above 0" if field.positive and value <= 0 else ""
