"""Read a pattern: the results of one run, typed in one go.

Two ways to write one, both in row order::

    PPPF.?                       one letter per row
    fail:13-16,pass:rest         a word, a colon, rows; rows not named were not run
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from diagnose.errors import Place, Problem, near_matches, quoted
from diagnose.formats.rowranges import read_rows
from diagnose.formats.value_problem import Wrong
from diagnose.observations.collecting import refuse
from diagnose.observations.result import Result
from diagnose.observations.rows import rows_in_words
from diagnose.tolerances import LONGEST_WORD

RESULT_LETTERS = {
    "P": Result.PASS,
    "G": Result.PASS,
    "F": Result.FAIL,
    "R": Result.FAIL,
    "?": Result.UNSURE,
    "U": Result.UNSURE,
    ".": Result.NOT_RUN,
}
RESULT_WORDS = {
    "pass": Result.PASS,
    "green": Result.PASS,
    "fail": Result.FAIL,
    "red": Result.FAIL,
    "unsure": Result.UNSURE,
}
_DIGITS = tuple("0123456789")
MOST_LETTERS = 3
"""So many wrong letters are told one by one; the rest are counted."""
_EXAMPLE = "fail:13-16,pass:rest"


def read_pattern(text: str, rows: int, where: Place) -> tuple[Result, ...]:
    """The results that ``text`` stands for: one for each of the machine's ``rows``, row 1 first.

    Small letters count as large ones; G, R and U as P, F and ?; spaces and ``_`` may group letters.

    Raises
    ------
    FileProblems: everything that is wrong with the pattern, each at ``where``.

    >>> "".join(result.value for result in read_pattern("ggR?", 4, Place("response=ggR?")))
    'PPF?'
    >>> run = read_pattern("fail:2-3,pass:rest", 5, Place("bleed=fail:2-3,pass:rest"))
    >>> "".join(result.value for result in run)
    'PFFPP'
    """
    if len(text) > LONGEST_WORD:
        got, remedy = f"{len(text):,}", f"write ranges, such as {_EXAMPLE}"
        refuse([Problem(where, f"at most {LONGEST_WORD:,} letters", got, remedy)])
    read = _Ranges(rows, where).read(text) if ":" in text else _read_letters(text, rows, where)
    if set(read) == {Result.NOT_RUN}:
        refuse([nothing_ran(where)])
    return read


def nothing_ran(where: Place) -> Problem:
    """The complaint about a run in which no row was run.

    >>> print(nothing_ran(Place("bleed=......")))
    bleed=......: expected a row that passed, failed or was unsure, got none; leave the run out
    """
    return Problem(where, "a row that passed, failed or was unsure", "none", "leave the run out")


def _read_letters(text: str, rows: int, where: Place) -> tuple[Result, ...]:
    if near_matches(text.lower(), [*RESULT_WORDS, "all", "none"], most=1) and len(text) > 2:
        refuse(
            [Problem(where, "a letter per row, or rows after the word", quoted(text), _say_rows())]
        )
    letters = re.sub(r"[\s_]", "", text).upper()
    refuse(list(_letter_problems(letters, rows, where)))
    return tuple(RESULT_LETTERS[letter] for letter in letters)


def _say_rows() -> str:
    return f"write for example pass:all, or {_EXAMPLE}"


def _letter_problems(letters: str, rows: int, where: Place) -> Iterator[Problem]:
    bad = [place for place, letter in enumerate(letters, start=1) if letter not in RESULT_LETTERS]
    for place in bad[:MOST_LETTERS]:
        yield Problem(
            where,
            "P, F, ? or . for each row (G, R, U count as P, F, ?)",
            f"{letters[place - 1]!r} at letter {place}",
            "? is for unsure, . for a row that was not run",
        )
    if len(bad) > MOST_LETTERS:
        expected = "no other letters"
        yield Problem(where, expected, f"{len(bad) - MOST_LETTERS} more letters of that sort")
    if len(letters) != rows:
        yield Problem(
            where,
            f"{rows} letters, one for each row of the machine",
            f"{len(letters)}",
            f"use . for rows that were not run, or ranges such as {_EXAMPLE}",
        )


class _Ranges:
    """Reader of the ``word:rows`` way of writing; gathers problems as it goes."""

    def __init__(self, rows: int, where: Place) -> None:
        self.rows = rows
        self.where = where
        self.problems: list[Problem] = []
        self.marks: dict[int, Result] = {}
        self.clashes: dict[int, set[Result]] = {}
        self.rest: Result | None = None

    def read(self, text: str) -> tuple[Result, ...]:
        """All results, or every problem at once.

        >>> read = _Ranges(5, Place("a")).read("fail:2-3,unsure:5,pass:rest")
        >>> "".join(result.value for result in read)
        'PFFP?'
        """
        for result, rows_text in self._items(text):
            self._take(result, rows_text)
        self._report_clashes()
        refuse(self.problems)
        rest = self.rest or Result.NOT_RUN
        return tuple(self.marks.get(row, rest) for row in range(1, self.rows + 1))

    def _items(self, text: str) -> Iterator[tuple[Result, str]]:
        """Each piece between commas with its word; a piece without one keeps the last."""
        result, started = None, False
        for item in text.lower().split(","):
            word, colon, rows_text = item.rpartition(":")
            if colon:
                result, started = self._word(word.strip()), True
            if result is not None:
                yield result, rows_text.strip()
            elif not started:
                self._expect(
                    "a word before the rows", quoted(item), f"write for example {_EXAMPLE}"
                )

    def _word(self, word: str) -> Result | None:
        if word not in RESULT_WORDS:
            near = near_matches(word, RESULT_WORDS, most=1)
            remedy = f"did you mean {near[0]}?" if near else f"write for example {_EXAMPLE}"
            self._expect("pass, fail or unsure before the colon", quoted(word), remedy)
        return RESULT_WORDS.get(word)

    def _take(self, result: Result, text: str) -> None:
        if text == "rest":
            self._take_rest(result)
        elif text == "all":
            self._mark(result, range(1, self.rows + 1))
        elif text[:1] in _DIGITS:
            self._mark(result, self._numbers(text))
        elif text != "none":
            expected = "rows such as 3 or 13-16, or rest, all, none"
            self._expect(expected, quoted(text), f"write for example {_EXAMPLE}")

    def _take_rest(self, result: Result) -> None:
        if self.rest is not None:
            self._expect("rest only once", "rest twice", "name the rows of one of them")
        self.rest = result

    def _numbers(self, text: str) -> Sequence[int]:
        try:
            return read_rows(text, self.rows)
        except Wrong as wrong:
            self.problems.append(wrong.at(self.where))
            return ()

    def _mark(self, result: Result, rows: Sequence[int]) -> None:
        for row in rows:
            if self.marks.setdefault(row, result) is not result:
                self.clashes.setdefault(row, {self.marks[row]}).add(result)

    def _report_clashes(self) -> None:
        for marks in sorted({_names(marks) for marks in self.clashes.values()}):
            rows = [row for row, clash in self.clashes.items() if _names(clash) == marks]
            self._expect(
                "one result for each row",
                f"{marks} for {rows_in_words(rows)}",
                "keep the one that was seen; a row checked twice belongs in two runs",
            )

    def _expect(self, expected: str, got: str, remedy: str) -> None:
        self.problems.append(Problem(self.where, expected, got, remedy))


def _names(marks: set[Result]) -> str:
    """The results in one fixed order, in words.

    >>> _names({Result.FAIL, Result.PASS})
    'pass and fail'
    """
    return " and ".join(result.name.lower() for result in Result if result in marks)
