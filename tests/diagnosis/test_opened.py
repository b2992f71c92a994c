"""Rows whose oil was opened: bled before their results count, whoever proposed the work."""

from __future__ import annotations

import pytest

from diagnose.diagnosis.opened import checks_touched
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.events import Remedied, Swapped
from diagnose.planner.candidates import required_rerun
from diagnose.planner.contingent_plan import Plan
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, ranked

FAILED = (*STEADY, "bleed=PPPPPP", *BLEED, "response=PPPPPF", *RESPONSE)

ALL_BLED = ("bleed=PPPPPP", *BLEED)

OPENING = [
    ("swap-valve@row-6=row-5", (5, 6)),
    ("replace-valve@row-6=done", (6,)),
    ("replace-hose@row-6/hose=done", (6,)),
    ("reseal-cylinder@row-6=done", (6,)),
    ("swap-sensor@row-6=row-5", (5, 6)),
    ("replace-hose@section-1/hose=done", (1, 2, 3, 4, 5, 6)),
]


@pytest.mark.parametrize(("work", "rows"), OPENING)
def test_the_bleed_of_what_was_opened_comes_next(work: str, rows: tuple[int, ...]) -> None:
    act = Plan(ranked("mounted-6", *FAILED, work)).act
    assert act is not None
    assert (act.check, act.rows) == ("bleed", rows)


@pytest.mark.parametrize(
    "work", ["swap-coil@row-6=row-5", "cross-plugs@row-6=row-5", "reseat-connector@row-6=done"]
)
def test_electrical_work_wants_no_bleed(work: str) -> None:
    assert required_rerun(ranked("mounted-6", *FAILED, work).evidence) is None


@pytest.mark.parametrize("then", [("bleed=....PP", *BLEED), ("bleed-again@row-6/air=done",)])
def test_a_bleed_or_bleeding_as_a_remedy_is_enough(then: tuple[str, ...]) -> None:
    evidence = ranked("mounted-6", *FAILED, "replace-valve@row-6=done", *then).evidence
    assert required_rerun(evidence) is None


def test_a_failure_before_the_bleed_says_little_of_the_new_valve() -> None:
    def left(*between: str) -> float:
        story = (*FAILED, "replace-valve@row-6=done", *between, "response=.....F", *RESPONSE)
        valve = [c for c in ranked("mounted-6", *story).causes if c.part == "row-6/valve"]
        return sum(cause.probability for cause in valve)

    assert left() < left("bleed=.....P", *BLEED)


@pytest.mark.parametrize(
    ("work", "checks"),
    [
        ("replace-sensor@row-6/sensor", {"bleed", "response"}),
        ("swap-sensor@row-6/sensor", {"bleed", "response"}),
        ("replace-coil@row-6/valve", {"response"}),
        ("swap-coil@row-6/valve", {"response"}),
    ],
)
def test_an_opened_line_is_proven_by_every_check_of_oil(work: str, checks: set[str]) -> None:
    """Also where no check but the response could show what was cured: air may be in there now."""
    machine, (act, part) = load_machine("mounted-6"), work.split("@")
    other = part.replace("6", "5")
    done = Swapped(act, part, other) if act.startswith("swap") else Remedied(act, part)
    assert checks_touched(machine, load_knowledge(), done) == checks


def test_a_bleed_of_every_row_frees_every_row() -> None:
    evidence = ranked("mounted-6", *FAILED, "replace-hose@section-1/hose=done", *ALL_BLED).evidence
    assert required_rerun(evidence) is None


def test_work_near_oil_under_pressure_says_what_it_opens() -> None:
    handled = {"straighten-hose", "free-linkage", "calibrate-sensor"}
    for kind in load_knowledge(learned=False).parts.values():
        for work in (*kind.remedies, *kind.swaps):
            if "pressure gone" in work.needs:
                assert (work.opens == "nothing") == (work.id in handled), (kind.id, work.id)
