"""The report says what to do when no row failed, and what a run in which nothing ran is worth."""

from __future__ import annotations

from typing import Any

import pytest

from diagnose import Case, Result, Run, load_machine, rank, ranking_report, read_typed

NO_ROW = "No row fails at present, yet there is reason to suspect"
NONE_PASSED = "not proven: full runs of bleed and then of response, all rows together, have not"
RUN_BOTH = ["run bleed on rows 1–6", "run response on rows 1–6"]
ANY_RUN = ""


def reported(*typed: str) -> dict[str, Any]:
    machine = load_machine("mounted-6")
    return ranking_report(rank(machine, read_typed(machine, typed)))


@pytest.mark.parametrize(
    ("typed", "instead"),
    [
        (
            ["coil-resistance@row-3=OL"],
            [f"{NO_ROW} row 3, row valve: coil open", NONE_PASSED, *RUN_BOTH],
        ),
        (
            ["response=PPPPPP", "oil=54C", "first-hookup=yes"],
            [NONE_PASSED, *RUN_BOTH[:1], ANY_RUN],
        ),
        (["response=PPPPPP", "engine=off"], [NONE_PASSED, ANY_RUN, ANY_RUN]),
        (
            ["bleed=PPPPPP", "response=PPPPPP", "oil=54C"],
            ["proven good: all rows passed bleed (run 1) and response (run 2), and no part that"],
        ),
        (["response=PPPPPF"], []),
    ],
)
def test_without_a_failed_row_the_report_says_what_to_do(
    typed: list[str], instead: list[str]
) -> None:
    told = reported(*typed)["instead"]
    assert len(told) == len(instead)
    assert all(said.startswith(wanted) for said, wanted in zip(told, instead, strict=True))


def test_a_check_that_is_proposed_brings_its_cautions() -> None:
    cautions = reported("coil-resistance@row-3=OL")["cautions"]
    assert any("Nobody stands near the row units" in caution for caution in cautions)


def test_a_run_in_which_nothing_ran_is_void_and_says_nothing() -> None:
    machine = load_machine("mounted-6")
    empty = Run(1, "bleed", (Result.NOT_RUN,) * 6, {"engine": "off"})
    report: dict[str, Any] = ranking_report(rank(machine, Case("mounted-6", (empty,))))
    of_the_run = [one for one in report["findings"] if "run-1" in one["about"]]
    assert (report["runs"][0]["standing"], of_the_run) == ("void", [])
    assert report["instead"][0].startswith(NONE_PASSED)


def test_what_one_rule_says_of_several_things_is_said_once() -> None:
    report = reported("bleed=PPPPPF", "response=PPPPFF", "response=PPPPFF")
    said = [(one["rule"], one["kind"], one["says"]) for one in report["findings"]]
    assert len(said) == len(set(said))
    [locks] = [one for one in report["findings"] if one["rule"] == "raised-on-locks"]
    assert len(locks["about"]) > 1


def test_what_nobody_noted_of_the_past_names_no_run() -> None:
    becauses = [why for one in reported("bleed=FPPPPF")["findings"] for why in one["because"]]
    assert "nothing noted about first hookup" in becauses
    assert not any("run 0" in why for why in becauses)
