"""Row numbers in a sentence."""

from __future__ import annotations

from collections.abc import Collection

from diagnose.knowledge.rowranges import in_short


def rows_phrase(rows: Collection[int]) -> str:
    """The rows with the word in front.

    >>> rows_phrase((6,)), rows_phrase((1, 2, 3, 9))
    ('row 6', 'rows 1-3, 9')
    """
    return f"{'row' if len(rows) == 1 else 'rows'} {in_short(rows)}"
