"""One vocabulary: every reader gives the same events, and those of later use are held as well."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from diagnose.api import rank
from diagnose.errors import NotUnderstood
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.archive import read_story, story_text
from diagnose.observations.case import Case
from diagnose.observations.casefile import read_case
from diagnose.observations.encoding import canonical, decode, encode
from diagnose.observations.entries import Opened, What, new_event
from diagnose.observations.events import (
    Alternative,
    Count,
    History,
    Reading,
    Remedied,
    Run,
    Swapped,
)
from diagnose.observations.log import log_of
from diagnose.observations.result import Result
from diagnose.observations.state import replay
from diagnose.observations.text import in_words
from diagnose.observations.typed import read_typed
from diagnose.observations.validation import Validation
from diagnose.planner.verification import Proof

KNOWN = load_knowledge(learned=False)
MACHINE = load_machine("mounted-6", KNOWN)
AT = datetime(2026, 3, 1, tzinfo=UTC)
UNSURE = Run.of("response", "??????")
COUNTED = replace(UNSURE, counts=(Count(Result.FAIL, (1, 2, 3, 4, 5, 6), 2, 3),))
EITHER = replace(UNSURE, alternatives=(Alternative(Result.FAIL, ((5,), (6,))),))
IN_SESSION = replace(Run.of("response", "PPPPPF"), session="morning")
ENGINE_ON = Reading("coil-resistance", "row-6/valve", 7.4, circumstances={"engine": "on"})
INFERRED = replace(Run.of("bleed", "PPPPPP"), inferred=(1, 2))

STORY = (
    History({"first-hookup": "yes"}),
    Run.of("bleed", "PPPPPP", {"oil": 54.0}),
    Run.of("response", "PPPPPF", {"oil": 54.0}),
    Reading("coil-resistance", "row-6/valve", 7.4),
    Swapped("swap-coil", "row-6/valve", "row-5/valve"),
    Run.of("response", "....FP"),
    Remedied("replace-coil", "row-5/valve"),
)


def typed() -> Case:
    words = ["first-hookup=yes", "bleed=PPPPPP", "oil=54C", "response=PPPPPF", "oil=54C"]
    words += ["coil-resistance@row-6=7.4ohm", "swap-coil@row-6=row-5", "response=....FP"]
    return read_typed(MACHINE, [*words, "replace-coil@row-5=done"], KNOWN)


def in_a_file() -> Case:
    text = """
machine: mounted-6
history: {first-hookup: "yes"}
story:
  - {check: bleed, pattern: PPPPPP, circumstances: {oil: 54 C}}
  - {check: response, pattern: PPPPPF, circumstances: {oil: 54 C}}
  - {measurement: coil-resistance, part: row-6/valve, value: 7.4 ohm}
  - {swap: swap-coil, part: row-6/valve, with: row-5/valve}
  - {check: response, rows: {fail: 5, pass: 6}}
  - {remedy: replace-coil, part: row-5/valve}
"""
    return read_case(read_text(text, "case.yaml"), KNOWN)[1]


def archived() -> Case:
    opening = Opened(case="20260301-a", machine="mounted-6")
    events = [new_event(what, "Ann", AT) for what in (opening, *STORY)]
    return replay(read_story(read_text(story_text(events), "a.yaml"), KNOWN)).case


@pytest.mark.parametrize("told", [typed, in_a_file, archived])
def test_a_case_is_the_replay_of_the_same_events_however_it_is_told(
    told: Callable[[], Case],
) -> None:
    assert told() == Case.of("mounted-6", STORY)
    assert Case.of("mounted-6", told().events()) == told()


def test_a_log_gives_the_runs_that_are_typed() -> None:
    lines = [f"1,bleed,{row},{mark}" for row, mark in enumerate("PPPP?F", 1)]
    text = "\n".join(["run,check,row,result", *lines])
    assert log_of(text, "log.csv", MACHINE, KNOWN) == read_typed(MACHINE, ["bleed=PPPP?F"], KNOWN)


@pytest.mark.parametrize("what", [COUNTED, EITHER, IN_SESSION, ENGINE_ON, INFERRED, *STORY])
def test_every_event_is_written_and_read_back_alike(what: What) -> None:
    event = new_event(what, "Ann", AT)
    assert decode(canonical(encode(event))) == event


def test_what_is_not_said_leaves_no_trace_in_what_is_written() -> None:
    told = [encode(new_event(what, "Ann", AT))["what"] for what in STORY]
    assert [set(each) - {"kind"} for each in told[1:4]] == [
        {"check", "pattern", "circumstances"},
        {"check", "pattern", "circumstances"},
        {"measurement", "part", "value"},
    ]


@pytest.mark.parametrize(
    ("what", "says"),
    [
        (COUNTED, "2 to 3 of rows 1–6 failed"),
        (EITHER, "row 5 or row 6 failed"),
        (IN_SESSION, "(session morning)"),
        (ENGINE_ON, "7.4 ohm (engine: running)"),
        (INFERRED, "rows 1–2 not named"),
    ],
)
def test_what_is_held_for_later_fits_and_is_said(what: Run | Reading, says: str) -> None:
    assert list(Validation(MACHINE, KNOWN).faults(what)) == []
    assert says in in_words(what, MACHINE, KNOWN)


@pytest.mark.parametrize(
    ("what", "says"),
    [
        (COUNTED, "run 1: expected a mark for each row: P, F, ? or ., got a count"),
        (EITHER, "run 1: expected a mark for each row: P, F, ? or ., got one group of rows"),
        (IN_SESSION, "run 1: expected a run that belongs to no session, got session 'morning'"),
        (ENGINE_ON, "coil-resistance@row-6/valve: expected a reading without circumstances"),
    ],
)
def test_what_no_probability_can_be_worked_out_from_is_refused_and_not_left_out(
    what: Run | Reading, says: str
) -> None:
    case = Case("mounted-6").then(what)
    with pytest.raises(NotUnderstood) as refused:
        rank(MACHINE, case, KNOWN)
    assert says in str(refused.value)


def test_an_inferred_pass_counts_in_the_ranking_and_proves_nothing() -> None:
    seen = Case.of("mounted-6", [Run.of("bleed", "PPPPPP"), Run.of("response", "PPPPPP")])
    guessed = Case.of("mounted-6", [INFERRED, Run.of("response", "PPPPPP")])
    ranked, unproven = rank(MACHINE, seen, KNOWN), rank(MACHINE, guessed, KNOWN)
    assert [c.probability for c in unproven.causes] == [c.probability for c in ranked.causes]
    assert Proof(ranked).holds
    assert Proof(unproven).missing == (
        ("bleed", (1, 2, 3, 4, 5, 6)),
        ("response", (1, 2, 3, 4, 5, 6)),
    )


@pytest.mark.parametrize(
    ("what", "path", "expected"),
    [
        (replace(UNSURE, counts=(Count(Result.FAIL, (1, 2), 1, 3),)), "most", "a number of 2 rows"),
        (replace(UNSURE, counts=(Count(Result.FAIL, (1, 2), 2, 1),)), "most", "a number of 2 rows"),
        (replace(UNSURE, counts=(Count(Result.FAIL, (1, 7), 1, 1),)), "rows", "marks ?"),
        (replace(UNSURE, counts=(Count(Result.FAIL, (1, 1), 1, 1),)), "rows", "each once"),
        (replace(COUNTED, results=STORY[1].results), "rows", "marks ?"),  # type: ignore[union-attr]
        (replace(UNSURE, alternatives=(Alternative(Result.FAIL, ((1,),)),)), "rows", "two groups"),
        (
            replace(UNSURE, alternatives=(Alternative(Result.FAIL, ((1,), ())),)),
            "rows",
            "two groups",
        ),
        (replace(UNSURE, inferred=(1,)), "inferred", "marks P"),
        (replace(ENGINE_ON, circumstances={"engine": "loud"}), "engine", "on or off"),
        (replace(ENGINE_ON, circumstances={"weather": "bad"}), "weather", "a circumstance"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    what: Run | Reading, path: str, expected: str
) -> None:
    found = [
        (str(way[-1]), wrong.expected) for way, wrong in Validation(MACHINE, KNOWN).faults(what)
    ]
    assert any(at == path and expected in says for at, says in found), found


@pytest.mark.parametrize("field", ["index", "epoch"])
def test_the_place_of_a_run_is_worked_out_and_never_told(field: str) -> None:
    data = encode(new_event(STORY[1], "Ann", AT))
    data["what"][field] = 3
    with pytest.raises(ValueError, match="expected no such field"):
        decode(canonical(data))
