"""Row numbers as people write them: ``6``, ``1-5``, ``1-4,9``."""

from __future__ import annotations

import re
from collections.abc import Iterable

from diagnose.errors import quoted
from diagnose.formats.value_problem import Wrong
from diagnose.tolerances import LONGEST_WORD

_RANGE = re.compile(r"([0-9]{1,6})(?:\s*-\s*([0-9]{1,6}))?")


def read_rows(text: str | int, most: int) -> tuple[int, ...]:
    """The rows in order of number, from 1 to ``most``. Raises `Wrong`.

    >>> read_rows("1-3, 6", 6), read_rows(4, 6)
    ((1, 2, 3, 6), (4,))
    """
    written = str(text)
    if len(written) > LONGEST_WORD:
        raise Wrong(f"row numbers of at most {LONGEST_WORD:,} letters", f"{len(written):,}")
    rows: set[int] = set()
    for piece in written.split(","):
        match = _RANGE.fullmatch(piece.strip())
        if not match:
            raise Wrong(got=quoted(text), expected="row numbers such as 6 or 1-5")
        first, last = int(match[1]), int(match[2] or match[1])
        if not 1 <= first <= most or not 1 <= last <= most:
            raise Wrong(f"rows from 1 to {most}", quoted(text))
        if last < first:
            raise Wrong(
                got=quoted(text), expected="the lower row first", remedy=f"write {last}-{first}"
            )
        named = range(first, last + 1)
        if not rows.isdisjoint(named):
            raise Wrong(got=quoted(text), expected="each row once")
        rows.update(named)
    return tuple(sorted(rows))


def in_short(rows: Iterable[int]) -> str:
    """Rows as ranges, the other way round.

    >>> in_short([1, 2, 3, 6, 8, 9])
    '1-3, 6, 8-9'
    """
    runs: list[list[int]] = []
    for row in sorted(rows):
        if runs and row == runs[-1][-1] + 1:
            runs[-1][1:] = [row]
        else:
            runs.append([row])
    return ", ".join("-".join(map(str, run)) for run in runs)
