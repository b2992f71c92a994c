"""What the terminal shows says everything that the report holds, on any terminal."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from rich.console import Console
from rich.theme import Theme

from diagnose.planner.advice import DEFERRAL
from diagnose.reports.forms.ranking import RankingReport
from diagnose.ui.streams import guarded
from diagnose.ui.terminal.output import STYLES
from diagnose.ui.terminal.ranking import print_ranking
from tests.ui.sample import as_data, report


def drawn(report: RankingReport, width: int = 80, encoding: str = "utf-8", **options: Any) -> str:
    """The report as it would come out of a terminal of this width and encoding."""
    raw = io.BytesIO()
    file = io.TextIOWrapper(raw, encoding=encoding, errors="rowfault.plain")
    screen = Console(file=file, width=width, theme=Theme(STYLES), highlight=False, **options)
    with guarded():
        print_ranking(report, screen)
        file.flush()
    return raw.getvalue().decode(encoding)


def one_line(text: str) -> str:
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize(
    "says",
    [
        "62 % row 6, row valve: coil open row-6/valve:coil_open Replace the coil. 15 min.",
        "Take care: The coil is hot.",
        "5 % section 1, hose: blocked (rows 1–5) section-1/hose:blocked",
        "under 1 % couplers: unseated (all rows)",
        "By place: row 90 %, section 5 %, supply under 1 %.",
        "No one cause explains every failure (40 %).",
        "Fragile: were wiring faults a third as common as is reckoned here, this would come first:",
        "Strongly for: row 6 failing response. - Slightly against: row 6 passing bleed.",
        "1. Rerun response on rows 5–7. About 6 min. Needs: engine running.",
        "80 % only 6 fails. Likeliest for row 6 then: row 6, row valve: coil open (70 %)",
        "19 % nothing wrong found. Likeliest for row 6 then: a false alarm (70 %)",
        "1 % other results",
        "Take care: Row units move while the check runs.",
        "Run 2, response: rows 6–7 failed, row 8 unsure, 8 of 11 passed. This run is weak.",
        "Only two rows failed.",
        "- Warm oil scalds.",
        DEFERRAL,
    ],
)
def test_what_the_report_holds_is_said(says: str) -> None:
    assert says in one_line(drawn(report()))


def test_what_stands_with_a_run_is_not_said_again() -> None:
    assert drawn(report()).count("The oil of run 2 was cool") == 1


@pytest.mark.parametrize("rows", [12, 48])
@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_line_is_wider_than_the_terminal(rows: int, width: int) -> None:
    assert max(map(len, drawn(report(rows), width).splitlines())) <= width


def test_no_line_ends_in_blanks() -> None:
    assert not [line for line in drawn(report()).splitlines() if line.endswith(" ")]


def test_failed_rows_can_be_read_without_colour() -> None:
    lines = drawn(report(), no_color=True).splitlines()
    numbers, _, marks = lines[2:5]
    assert [
        numbers[column - 1 : column + 1].split()[0]
        for column, mark in enumerate(marks)
        if mark == "X"
    ] == ["6", "7"]


def test_colours_are_a_pair_that_colour_blind_people_can_tell_apart() -> None:
    text = drawn(report(), force_terminal=True, color_system="truecolor")
    blue, vermillion = "38;2;0;114;178m", "38;2;213;94;0m"
    assert (f"{blue}o" in text, f"{vermillion}X" in text) == (True, True)


def test_without_colour_there_are_no_colour_codes() -> None:
    assert "38;2" not in drawn(report(), force_terminal=True, no_color=True)


def test_a_terminal_that_knows_only_ascii_gets_the_same_words() -> None:
    text = drawn(report(), encoding="ascii")
    assert ("Rerun response on rows 5-7" in text, "|harness-1|" in text) == (True, True)


def test_fewer_causes_are_counted() -> None:
    sample = report()
    print_ranking(sample, screen := Console(file=io.StringIO(), theme=Theme(STYLES)), causes=1)
    file = screen.file
    assert isinstance(file, io.StringIO)
    assert "2 more are less likely; --causes 3 shows them all." in file.getvalue()


@pytest.mark.parametrize(
    ("rows", "says"), [([6], "Row 6 is mended"), ([6, 7, 8], "Rows 6–8 are mended")]
)
def test_a_check_that_passes_says_of_every_row_of_its_trouble_that_it_is_mended(
    rows: list[int], says: str
) -> None:
    [act] = as_data()["next"]
    act["trouble_rows"] = rows
    act["outcomes"][0] |= {"result": "all pass", "leads_to": "mended"}
    text = one_line(drawn(report(next=[act])))
    assert f"all pass. {says}; the final full pass is left" in text


@pytest.mark.slow
def test_no_line_is_broken_before_the_percent_sign() -> None:
    for width in range(40, 100):
        assert not any(line.strip().startswith("%") for line in drawn(report(), width).splitlines())


def test_a_cause_that_no_row_shows_has_no_rows_beside_it() -> None:
    causes = as_data()["causes"]
    causes[2]["rows"] = []
    text = one_line(drawn(report(causes=causes)))
    assert "under 1 % couplers: unseated supply/coupler:unseated" in text
