"""The report of a case says what counted, what was superseded, and what was made of it."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from diagnose import case_report
from diagnose.knowledge.base import load_knowledge
from diagnose.observations.entries import Correction, Event
from diagnose.observations.events import History, Remedied
from diagnose.observations.guard import redo, undo
from diagnose.observations.result import results_of
from diagnose.observations.state import replay
from diagnose.projection import MOST_POINTS, Projection, Timeline, posterior_timeline
from tests.reports.stories import (
    found_on_mounted_12,
    proven_on_mounted_12,
    run,
    section_on_folding_24,
    story,
    then,
    wing_on_folding_48,
)

KNOWLEDGE = load_knowledge()
STORIES = [found_on_mounted_12, proven_on_mounted_12, section_on_folding_24, wing_on_folding_48]


@cache
def proven() -> dict[str, Any]:
    """The report of a case that was worked on to its end."""
    return case_report(proven_on_mounted_12())


def entry(report: dict[str, Any], number: int) -> dict[str, Any]:
    found: dict[str, Any] = report["timeline"][number - 1]
    return found


@pytest.mark.slow
def over_time(events: list[Event]) -> Timeline:
    return posterior_timeline(events, Projection(replay(events), KNOWLEDGE))


@pytest.mark.parametrize("make", STORIES)
def test_a_report_is_plain_data(make: Any) -> None:
    report = case_report(make())
    assert json.loads(json.dumps(report, allow_nan=False)) == report


def test_what_was_put_right_does_not_count_and_says_by_whom() -> None:
    wrong, right = entry(proven(), 5), entry(proven(), 6)
    assert (wrong["counts"], wrong["corrected"]["by"], wrong["corrected"]["who"]) == (
        False,
        6,
        "A. Helper",
    )
    assert wrong["corrected"]["reason"] == "counted from the wrong end"
    assert (right["counts"], right["kind"]) == (True, "correction")
    assert "row 4 failed" in wrong["says"]
    assert "row 5 failed" in wrong["corrected"]["instead"]


def test_only_runs_that_count_are_runs() -> None:
    assert [run["pattern"] for run in proven()["runs"][:2]] == ["P" * 12, "PPPPFPPPPPPP"]
    assert [run["entry"] for run in proven()["runs"]] == [4, 5, 8, 12, 13, 14]


@pytest.mark.slow
def test_an_undo_that_was_redone_leaves_no_trace_in_what_counts() -> None:
    events = found_on_mounted_12()
    back = undo(events)
    assert back is not None
    undone = then(events, back)
    forth = redo(undone)
    assert forth is not None
    counts = [each["counts"] for each in case_report(then(undone, forth))["timeline"]]
    assert counts[: len(events)] == [each["counts"] for each in case_report(events)["timeline"]]
    assert counts[-2:] == [False, True]
    assert case_report(undone)["timeline"][len(events) - 1]["counts"] is False


def test_the_ranking_is_that_of_the_view() -> None:
    view = Projection(replay(section_on_folding_24()), KNOWLEDGE)
    causes = case_report(section_on_folding_24())["causes"]
    best = view.ranking.causes[: len(causes)]
    assert [(each["id"], each["probability"]) for each in causes] == [
        (each.id, each.probability) for each in best
    ]


def test_the_last_point_over_time_is_the_ranking_now() -> None:
    report = case_report(section_on_folding_24())
    now = {cause["id"]: cause["probability"] for cause in report["causes"]}
    names = [cause["id"] for cause in report["over_time"]["causes"]]
    last = dict(zip(names, report["over_time"]["points"][-1]["chances"], strict=True))
    assert {name: last[name] for name in names if name in now} == pytest.approx(
        {name: now[name] for name in names if name in now}
    )


def test_a_point_knows_nothing_of_what_was_told_later() -> None:
    early = over_time(found_on_mounted_12()[:5]).points[-1]
    late = next(p for p in over_time(found_on_mounted_12()).points if p.number == 5)
    assert early.chances == late.chances


def test_a_long_story_has_few_points_and_the_last_among_them() -> None:
    told = [History({"washed": answer}) for answer in ("yes", "no") * 15]
    events = story("mounted-6", run("response", 6, [6]), *told)
    points = over_time(events).points
    assert (len(points), points[-1].number) == (MOST_POINTS, len(events))


def test_rows_show_what_they_showed_last() -> None:
    report = case_report(
        story("mounted-6", run("response", 6, [5, 6]), run("response", 6, [6], [6]))
    )
    assert [row["mark"] for row in report["rows"]] == ["pass"] * 4 + ["fail"] * 2
    mended = case_report(story("mounted-6", run("response", 6, [6]), run("response", 6, [], [6])))
    assert {row["mark"] for row in mended["rows"]} == {"pass"}
    fresh = case_report(story("mounted-6"))
    assert {row["mark"] for row in fresh["rows"]} == {"not-run"}


def test_a_row_that_was_never_sure_is_unsure() -> None:
    unsure = replace(run("response", 6), results=results_of("PPPPP?"))
    assert case_report(story("mounted-6", unsure))["rows"][5]["mark"] == "unsure"


def test_what_a_remedy_cleared_was_there_and_is_gone() -> None:
    cured = proven()["cured"][0]
    assert cured["id"] == "row-5/valve:coil_shorted"
    assert cured["probability"] > 0.99
    assert cured["left"] < 0.001
    assert proven()["conclusion"]["causes"][0]["was_there"] == cured["probability"]


def test_proof_names_the_full_runs_that_show_it() -> None:
    assert proven()["proof"]["holds"] is True
    assert proven()["proof"]["runs"] == [1, 6]
    assert case_report(found_on_mounted_12())["proof"]["holds"] is False


def test_parts_that_were_bought_are_listed() -> None:
    assert [(used["part"], used["price"]) for used in proven()["parts_used"]] == [
        ("row-6/valve", KNOWLEDGE.parts["valve"].remedy("replace-coil").parts_price)
    ]


def test_minutes_run_by_the_clock() -> None:
    assert proven()["minutes"] == 7 * (len(proven_on_mounted_12()) - 1)


def test_an_open_case_says_what_to_do_next_and_a_closed_one_does_not() -> None:
    assert case_report(section_on_folding_24())["next"]["act"]["minutes"] > 0
    assert proven()["next"] is None


@pytest.mark.slow
def test_every_report_warns_and_defers() -> None:
    for make in STORIES:
        cautions = case_report(make())["cautions"]
        assert "manual" in cautions[-1]
        assert any("cuts skin" in caution for caution in cautions)
        assert any("locks" in caution for caution in cautions)


@pytest.mark.slow
def test_every_cause_of_a_point_is_between_0_and_1() -> None:
    points = case_report(wing_on_folding_48())["over_time"]["points"]
    assert all(0 <= chance <= 1 for point in points for chance in point["chances"])


def test_results_that_cannot_stand_together_are_told_not_ranked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from diagnose.diagnosis.causes import Ranking
    from diagnose.errors import ImpossibleEvidence

    def impossible(_: Ranking) -> None:
        raise ImpossibleEvidence(["response@6#1"])

    monkeypatch.setattr(Ranking, "causes", property(impossible))
    report = case_report(section_on_folding_24())
    assert "cannot stand together" in report["impossible"]
    assert (report["causes"], report["next"], report["proof"]) == ([], None, None)
    assert len(report["runs"]) == 3


def test_a_correction_to_other_work_changes_the_parts_used() -> None:
    events: list[Event] = found_on_mounted_12()
    mended = next(event for event in events if isinstance(event.what, Remedied))
    report = case_report(then(events, Correction(event=mended.id)))
    assert report["parts_used"] == []


@pytest.mark.slow
def test_a_report_on_48_rows_names_the_hose_before_the_first_row_that_fails() -> None:
    first = case_report(wing_on_folding_48())["causes"][0]
    assert (first["part"], first["rows"]) == ("section-1/chain-3", [1, 2, 3])
