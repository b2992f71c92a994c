"""Logged results read as runs, whoever wrote the file, and errors have lines."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.errors import FileProblems
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.log import log_of, read_log

MACHINE = load_machine("mounted-6")
HEADER = "run,check,row,result\n"


def patterns(text: str) -> list[tuple[str, str]]:
    runs = log_of(text, "log.csv", MACHINE, load_knowledge()).runs
    return [(run.check, run.pattern) for run in runs]


@pytest.mark.parametrize(
    "text",
    [
        HEADER + "1,bleed,1,P\n1,bleed,3,F\n",
        HEADER + "1,bleed,3,fail\n\n1,bleed,1,pass\n1,bleed,1,P\n",
        "row;result;run;check\n1;green;1;bleed\n3;red;1;Bleed\n",
        "Run\tCheck\tRow\tResult\tTime\n4\tbleed\t1\tP\t08:12\n4\tbleed\t3\tF\r\n",
        'run,check,row,result\n"1","bleed","1","P"\n1, bleed, 3, F\n1,bleed,2,not run\n',
    ],
    ids=["plain", "words", "semicolons", "tabs", "quotes"],
)
def test_many_ways_of_logging_say_the_same(text: str) -> None:
    assert patterns(text) == [("bleed", "P.F...")]


def test_runs_come_in_order_of_number() -> None:
    text = HEADER + "10,bleed,1,P\n2,response,1,F\n"
    assert patterns(text) == [("response", "F....."), ("bleed", "P.....")]


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(HEADER + "1,bleed,1,P\n", encoding="utf-8-sig")
    assert read_log(path, MACHINE).runs[0].pattern == "P....."


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "run,check,row\n",
            "log.csv:1: expected the columns run, check, row, result, got no result; "
            "let the first line be run,check,row,result",
        ),
        (
            "",
            "log.csv:1: expected the columns run, check, row, result, got no run and no check and "
            "no row and no result; let the first line be run,check,row,result",
        ),
        (HEADER + "1,bleed,7,P\n", "log.csv:2: expected a row from 1 to 6, got '7'"),
        (HEADER + "one,bleed,1,P\n", "log.csv:2: expected a run number from 1, got 'one'"),
        (
            HEADER + "1,blead,1,P\n",
            "log.csv:2: expected a check, got 'blead'; did you mean bleed?",
        ),
        (
            HEADER + "1,bleed,1,maybe\n",
            "log.csv:2: expected pass, fail, unsure or not run (P, F, ? or .), got 'maybe'",
        ),
        (
            HEADER + "1,bleed,1,P\n1,bleed,1,F\n",
            "log.csv:3: expected one result for each row of a run, got fail here and pass in "
            "line 2 for row 1; keep the one that was seen; a row checked twice belongs in two runs",
        ),
        (
            HEADER + "1,bleed,1,P\n1,response,2,F\n",
            "log.csv:3: expected one check for each run, got response here and bleed in line 2; "
            "give one another number",
        ),
    ],
)
def test_a_bad_log_says_where_and_what(text: str, message: str) -> None:
    with pytest.raises(FileProblems) as caught:
        patterns(text)
    assert str(caught.value) == message


def test_all_problems_of_a_log_come_at_once() -> None:
    with pytest.raises(FileProblems) as caught:
        patterns(HEADER + "0,blead,9,x\n1,bleed,1,P\n1,bleed,0,P\n")
    assert [problem.where.line for problem in caught.value.problems] == [2, 2, 2, 2, 4]


def test_a_logged_run_in_which_no_row_ran_is_refused_where_it_began() -> None:
    with pytest.raises(FileProblems, match=r":3: expected a row that passed"):
        patterns(HEADER + "1,bleed,1,P\n2,bleed,1,.\n2,bleed,2,.\n")


@pytest.mark.parametrize("bad", ['1,bleed,3,"F\n', '1,bleed,3,F,"a note\n'])
def test_a_quote_that_is_never_closed_is_refused_where_it_begins(bad: str) -> None:
    with pytest.raises(FileProblems, match=r":3: expected readable CSV, got a quote that is open"):
        patterns(HEADER + "1,bleed,2,P\n" + bad + "1,bleed,4,P\n")


def test_a_file_that_is_not_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"run,check,row,result\n1,bleed,1,\xff\n")
    with pytest.raises(FileProblems, match=r"log\.csv:2: expected text in UTF-8, got byte 0xff"):
        read_log(path, MACHINE)


@given(st.text(alphabet='runchekowslt123PF,;\t\n\r"\x00', max_size=60))
def test_any_text_is_read_or_refused_politely(rest: str) -> None:
    with suppress(FileProblems):
        assert isinstance(patterns(HEADER + rest), list)
