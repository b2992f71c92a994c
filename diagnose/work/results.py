"""The results of a run in the shortest form: which rows failed."""

from __future__ import annotations

import re
from collections.abc import Sequence

from diagnose.errors import quoted
from diagnose.knowledge.rowranges import read_rows
from diagnose.knowledge.wrong import Wrong
from diagnose.observations.pattern import LETTERS
from diagnose.observations.result import Result
from diagnose.observations.rows import rows_in_words

FORM = "failed rows (6 or 5,13-16), none, all, 6? for unsure, ? for all unsure, or a letter a row"

ONE_ROW = "yes, no, or ? for unsure"
YES_OR_NO = {"yes": "all", "y": "all", "no": "none", "n": "none"}

LETTERS_ONLY = re.compile(r"[PFGRUpfgru?.\s_]{2,}")


def read_failed(text: str, run: Sequence[int], rows: int) -> str:
    """The pattern of a run over the rows ``run`` of a machine of ``rows``, from who failed.

    Raises `Wrong`.

    >>> read_failed("6", (5, 6, 7), 8), read_failed("none", (5, 6), 8), read_failed("all", (1,), 3)
    ('....PFP.', '....PP..', 'F..')
    >>> read_failed("no", (2,), 3)
    '.P.'
    >>> read_failed("1, 3?", (1, 2, 3), 3), read_failed("PFP", (5, 6, 7), 8)
    ('FP?', '....PFP.')
    """
    said = text.strip().lower()
    if len(run) == 1 and said in YES_OR_NO:
        said = YES_OR_NO[said]
    if said in ("none", "all", "?"):
        letter = {"none": "P", "all": "F", "?": "?"}[said]
        marks = dict.fromkeys(run, letter)
    elif LETTERS_ONLY.fullmatch(said) and not said.isdigit():
        return _letters(said, run, rows)
    else:
        marks = _ranges(said, run, rows)
    return "".join(marks.get(row, ".") for row in range(1, rows + 1))


def _ranges(said: str, run: Sequence[int], rows: int) -> dict[int, str]:
    marks = dict.fromkeys(run, "P")
    for piece in filter(None, (each.strip() for each in re.split(r"[,;\s]+", said))):
        unsure = piece.endswith("?")
        try:
            named = read_rows(piece.rstrip("?"), rows)
        except Wrong as wrong:
            raise Wrong(f"{wrong.expected}, or none, or all", quoted(said), FORM) from wrong
        outside = [row for row in named if row not in run]
        if outside:
            got = rows_in_words(outside)
            raise Wrong(f"some of {rows_in_words(run)}, which ran", got, "name only rows that ran")
        marks.update(dict.fromkeys(named, "?" if unsure else "F"))
    return marks


def _letters(said: str, run: Sequence[int], rows: int) -> str:
    """A letter for each row of the machine, or for each row that ran."""
    letters = "".join(LETTERS[each].value for each in re.sub(r"[\s_]", "", said).upper())
    if len(letters) == rows:
        if set(letters) == {Result.NOT_RUN.value}:
            raise Wrong(got=quoted(said), expected="a row that ran", remedy=FORM)
        return letters
    if len(letters) == len(run) and "." not in letters:
        marks = dict(zip(run, letters, strict=True))
        return "".join(marks.get(row, ".") for row in range(1, rows + 1))
    raise Wrong(f"{len(run)} or {rows} letters", str(len(letters)), FORM)
