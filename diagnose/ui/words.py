"""Numbers, times and outcomes as somebody beside a planter would say them."""

from __future__ import annotations

import re
from datetime import datetime

PLAIN_RESULTS = {"good": "nothing wrong found"}
STARTS_WITH_ID = re.compile(r"[a-z][a-z0-9-]*([/@]|-[0-9])")
"""A part, an act, or a place such as ``section-2``."""


def percent(probability: float) -> str:
    """A chance as whole percent; never 0 or 100, which nobody can promise.

    >>> percent(0.934), percent(0.0012), percent(0.9991)
    ('93 %', 'under 1 %', 'over 99 %')
    """
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def between(low: float, high: float) -> str:
    """A chance that is known within limits only, as whole percent.

    >>> between(0.618, 0.713), between(0.0001, 0.042), between(0.5, 0.503), between(0.95, 0.9999)
    ('between 62 and 71 %', 'up to 4 %', '50 %', 'over 95 %')
    >>> between(0.0, 1.0)
    'unknown'
    """
    least, most = percent(low), percent(high)
    if low < 0.01 and high > 0.99:
        return "unknown"
    if least == most:
        return least
    if low < 0.01:
        return f"up to {most}"
    return f"over {least}" if high > 0.99 else f"between {least.removesuffix(' %')} and {most}"


def odds(chance: float) -> str:
    """A small chance as one in so many.

    >>> odds(0.0012), odds(0.4)
    ('1 in 830', '1 in 2.5')
    """
    if chance <= 0:
        return "never"
    many = 1 / chance
    return f"1 in {many:.2g}" if many < 100 else f"1 in {float(f'{many:.2g}'):,.0f}"


def minutes_text(minutes: float) -> str:
    """A length of work, rounded as a person would.

    >>> minutes_text(0.4), minutes_text(12.4), minutes_text(95)
    ('1 min', '12 min', '1 h 35 min')
    """
    whole = max(1, round(minutes))
    hours, rest = divmod(whole, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def how_many(many: int, what: str) -> str:
    """So many of something.

    >>> how_many(1, "rule"), how_many(3, "rule")
    ('1 rule', '3 rules')
    """
    return f"{many:,} {what}{'' if many == 1 else 's'}"


def plain(name: str) -> str:
    """An id as words.

    >>> plain("coil_open"), plain("fault-code")
    ('coil open', 'fault code')
    """
    return name.replace("_", " ").replace("-", " ")


def sentence(text: str) -> str:
    """The text with a large first letter, unless it begins with an id, and a full stop.

    >>> sentence("row 6 fails alone"), sentence("Is it cold?"), sentence("row-6/valve: OL")
    ('Row 6 fails alone.', 'Is it cold?', 'row-6/valve: OL.')
    """
    text = text.strip()
    ending = "" if not text or text[-1] in ".!?:" else "."
    first = text[:1] if STARTS_WITH_ID.match(text) else text[:1].upper()
    return first + text[1:] + ending


def blanked(template: str) -> str:
    """A sentence of a rule with dots for each word that a case fills in.

    >>> blanked("Row {bad.row} failed at {oil.celsius:temperature}")
    'Row … failed at …'
    """
    return re.sub(r"\{[^{}]*\}", "…", template)


def moment(text: str) -> str:
    """A point in time for people, in UTC.

    >>> moment("2026-03-14T07:30:00+00:00")
    '2026-03-14 07:30 UTC'
    """
    return datetime.fromisoformat(text).strftime("%Y-%m-%d %H:%M UTC")


def outcome(result: str) -> str:
    """An outcome of an act in plain words.

    >>> outcome("good"), outcome("all pass")
    ('nothing wrong found', 'all pass')
    """
    return PLAIN_RESULTS.get(result, result)
