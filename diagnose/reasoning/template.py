"""Sentences with named holes: ``"Row {bad.row} failed"``.

A hole is a name, or a name and a field, and perhaps a form: ``{oil.celsius:temperature}``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping

from diagnose.knowledge.units import NO_CODE, OVER_RANGE_OHM
from diagnose.reasoning.finding import Value
from diagnose.record import record

_HOLE = re.compile(r"\{([a-z][a-z0-9_]*)(?:\.([a-z][a-z0-9_]*))?(?::([a-z]+))?\}")
_BRACE = re.compile(r"[{}]")


@record
class Hole:
    """One hole: the name before the dot (or alone), the field after it, the form."""

    name: str
    field: str = ""
    form: str = ""


def _temperature(celsius: Value) -> str:
    return f"{float(celsius):.0f} °C ({float(celsius) * 1.8 + 32:.0f} °F)"


def _pressure(bar: Value) -> str:
    return f"{float(bar):.0f} bar ({float(bar) * 14.503773773:.0f} psi)"


def _plain(value: Value) -> str:
    if isinstance(value, str) or abs(value) >= 1000:
        return value if isinstance(value, str) else f"{value:,.0f}"
    return f"{value:.3g}"


def _about(value: Value) -> str:
    return f"{float(value):.1f}" if float(value) < 3 else f"{float(value):.0f}"


def _ohms(ohm: Value) -> str:
    """Over its range a meter shows OL."""
    return "OL" if float(ohm) >= OVER_RANGE_OHM else f"{_plain(ohm)} ohm"


def _read(number: Value) -> str:
    if isinstance(number, str) or NO_CODE < number < OVER_RANGE_OHM:
        return _plain(number)
    return "no stored" if number <= NO_CODE else "OL"


NUMBER_FORMS = frozenset({"temperature", "pressure", "about", "ohms", "read", "aside"})
FORMS: Mapping[str, Callable[[Value], str]] = {
    "": _plain,
    "temperature": _temperature,
    "pressure": _pressure,
    "about": _about,
    "ohms": _ohms,
    "read": _read,
    "aside": lambda run: f" (run {run})" if run else "",
    "words": lambda value: str(value).replace("-", " ").replace("_", " "),
}


def holes(text: str) -> Iterator[Hole]:
    """The holes of a template, in order.

    >>> list(holes("Row {bad.row} of {rows}"))
    [Hole(name='bad', field='row', form=''), Hole(name='rows', field='', form='')]
    """
    for match in _HOLE.finditer(text):
        yield Hole(match[1], match[2] or "", match[3] or "")


def stray_brace(text: str) -> bool:
    """Whether a brace stands outside a well-formed hole.

    >>> stray_brace("{a.b} and {"), stray_brace("{a.b}")
    (True, False)
    """
    return bool(_BRACE.search(_HOLE.sub("", text)))


def only_hole(text: str) -> Hole | None:
    """The hole when the template is nothing but one hole without a form, else None.

    >>> only_hole("{bad.row}")
    Hole(name='bad', field='row', form='')
    >>> only_hole("row-{bad.row}")
    """
    match = _HOLE.fullmatch(text)
    return Hole(match[1], match[2] or "") if match and not match[3] else None


def filled(text: str, look_up: Callable[[Hole], Value]) -> str:
    """The template with every hole filled.

    >>> filled("oil at {oil.celsius:temperature}", lambda hole: 15.0)
    'oil at 15 °C (59 °F)'
    >>> filled("{coil.number:ohms}", lambda hole: 1e6), filled("{n.number:ohms}", lambda hole: 7.4)
    ('OL', '7.4 ohm')
    """

    def fill(match: re.Match[str]) -> str:
        hole = Hole(match[1], match[2] or "", match[3] or "")
        return FORMS[hole.form](look_up(hole))

    return _HOLE.sub(fill, text)
