"""Words that reports share, whatever their form."""

from __future__ import annotations

from datetime import datetime

from diagnose.faces.terminal import PLAIN_RESULTS


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
