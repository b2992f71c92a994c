"""A pattern reads as the technician meant it, or says everything that is wrong with it."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.errors import FileProblems, Place
from diagnose.formats.rowranges import in_short
from diagnose.observations.pattern import read_pattern
from diagnose.observations.result import Result

WHERE = Place("response=...")


def pattern(text: str, rows: int) -> str:
    return "".join(result.value for result in read_pattern(text, rows, WHERE))


@pytest.mark.parametrize(
    ("text", "results"),
    [
        ("PFP?.", "PFP?."),
        ("pfp?.", "PFP?."),
        ("GRGU.", "PFP?."),
        ("PF P?_.", "PFP?."),
        ("fail:2-3,pass:rest", "PFFPP"),
        ("FAIL:2-3, PASS:rest", "PFFPP"),
        ("red:2,4,green:rest", "PFPFP"),
        ("fail:1,3-4", "F.FF."),
        ("unsure:5,fail:none,pass:1-2", "PP..?"),
        ("pass:all", "PPPPP"),
        ("fail:2,fail:1-3,pass:rest", "FFFPP"),
    ],
)
def test_a_pattern_reads_as_it_was_meant(text: str, results: str) -> None:
    assert pattern(text, 5) == results


LETTER = "expected P, F, ? or . for each row (G, R, U count as P, F, ?), got"
MARKS = "; ? is for unsure, . for a row that was not run"
LENGTH = "; use . for rows that were not run, or ranges such as fail:13-16,pass:rest"
WRITE = "; write for example fail:13-16,pass:rest"


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        ("PPPP", ["expected 5 letters, one for each row of the machine, got 4" + LENGTH]),
        ("", ["expected 5 letters, one for each row of the machine, got 0" + LENGTH]),
        (
            "PXPPPP",
            [
                f"{LETTER} 'X' at letter 2{MARKS}",
                "expected 5 letters, one for each row of the machine, got 6" + LENGTH,
            ],
        ),
        (
            "pass",
            [
                "expected a letter per row, or rows after the word, got 'pass'; "
                "write for example pass:all, or fail:13-16,pass:rest"
            ],
        ),
        ("fail:6", ["expected rows from 1 to 5, got '6'"]),
        ("fail:0-2", ["expected rows from 1 to 5, got '0-2'"]),
        ("fail:4-2", ["expected the lower row first, got '4-2'; write 2-4"]),
        (
            "fail:1-3,pass:2-4",
            [
                "expected one result for each row, got pass and fail for rows 2–3; "
                "keep the one that was seen; a row checked twice belongs in two runs"
            ],
        ),
        (
            "fail:rest,pass:rest",
            ["expected rest only once, got rest twice; name the rows of one of them"],
        ),
        (
            "fial:2",
            ["expected pass, fail or unsure before the colon, got 'fial'; did you mean fail?"],
        ),
        ("maybe:2", ["expected pass, fail or unsure before the colon, got 'maybe'" + WRITE]),
        ("3,fail:2", ["expected a word before the rows, got '3'" + WRITE]),
        ("fail:two", ["expected rows such as 3 or 13-16, or rest, all, none, got 'two'" + WRITE]),
        ("fail:", ["expected rows such as 3 or 13-16, or rest, all, none, got ''" + WRITE]),
        ("fail:²", ["expected rows such as 3 or 13-16, or rest, all, none, got '²'" + WRITE]),
        (
            "fail:9,pass:4-2",
            [
                "expected rows from 1 to 5, got '9'",
                "expected the lower row first, got '4-2'; write 2-4",
            ],
        ),
    ],
)
def test_a_bad_pattern_says_everything_that_is_wrong(text: str, messages: list[str]) -> None:
    with pytest.raises(FileProblems) as caught:
        read_pattern(text, 5, WHERE)
    assert str(caught.value).splitlines() == [f"response=...: {message}" for message in messages]


RUNS = st.lists(st.sampled_from(list(Result)), min_size=1, max_size=48)


@given(RUNS.filter(lambda results: set(results) != {Result.NOT_RUN}))
def test_letters_and_ranges_say_the_same(results: list[Result]) -> None:
    """Whatever was seen, both ways of writing it give it back."""
    letters = "".join(result.value for result in results)
    words = {Result.PASS: "pass", Result.FAIL: "fail", Result.UNSURE: "unsure"}
    rows = {mark: [n for n, seen in enumerate(results, 1) if seen is mark] for mark in words}
    ranges = ",".join(f"{words[mark]}:{in_short(rows[mark]) or 'none'}" for mark in words)
    assert pattern(letters, len(results)) == letters == pattern(ranges, len(results))


@pytest.mark.parametrize("text", [".....", "fail:none", "pass:none,unsure:none"])
def test_a_run_in_which_no_row_ran_is_refused(text: str) -> None:
    with pytest.raises(FileProblems, match="expected a row that passed, failed or was unsure"):
        read_pattern(text, 5, WHERE)


@given(st.text(max_size=30), st.integers(1, 48))
def test_any_text_is_read_or_refused_politely(text: str, rows: int) -> None:
    with suppress(FileProblems):
        assert len(read_pattern(text, rows, WHERE)) == rows
