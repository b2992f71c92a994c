"""A case in a file is the same case on another computer; what cannot be so is refused."""

from __future__ import annotations

import json
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.errors import FileProblems
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.strictyaml import read_text
from diagnose.story.archive import LARGEST_BYTES, read_story, story_data, story_text
from diagnose.story.event import (
    Answered,
    AtHand,
    Checked,
    Circumstances,
    Concluded,
    Correction,
    Event,
    Exchanged,
    Fact,
    History,
    Measured,
    Mended,
    Noted,
    Opened,
    Skipped,
    told,
)
from diagnose.story.replay import replay
from diagnose.story.view import View

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
NASTY = [
    *("\0", "\x1b[31mred", "\u202eltr", "\u2028", "\x85", "\ufeff", "\U0001f69c", "&a", "*a"),
    *("<b>bold</b>", "'; DROP TABLE case_event; --", "yes", "- a\n- b", "a: b #c", "!!python", " "),
]
WORDS = st.text(min_size=1, max_size=300) | st.sampled_from(NASTY)


def opening(machine: str = "mounted-6", layout: str | None = None) -> Event:
    return told(Opened(case="20260301-small", machine=machine, layout=layout), "Ann", START)


def story(*facts: Fact | Correction) -> tuple[Event, ...]:
    later = [told(fact, "Ben", START + timedelta(minutes=n)) for n, fact in enumerate(facts, 1)]
    return (opening(), *later)


def again(events: tuple[Event, ...]) -> tuple[Event, ...]:
    return read_story(read_text(story_text(events), "case.yaml"))


RUN = Checked(check="response", pattern="PPP.?F", circumstances={"oil": 54.0, "engine": "on"})
FACTS: tuple[Fact, ...] = (
    RUN,
    Measured(measurement="coil-resistance", part="row-6/valve", value=7.4),
    Measured(measurement="valve-code", part="row-6/valve", value=5.0),
    Mended(remedy="replace-coil", part="row-6/valve"),
    Exchanged.model_validate({"swap": "swap-coil", "part": "row-6/valve", "with": "row-5/valve"}),
    History(values={"first-hookup": "yes"}),
    Circumstances(values={"oil": 54.0, "engine": None}),
    Skipped(act="response@5-6", reason="no: it rains"),
    AtHand(without=("meter",), alone=True),
    Concluded(outcome="proven", causes=("row-6/valve:coil_open", "circumstances/oil@1")),
)


@st.composite
def stories(draw: st.DrawFn) -> tuple[Event, ...]:
    """Facts with any texts, corrections of them, at any times."""
    events = [opening()]
    for _ in range(draw(st.integers(0, 8))):
        facts = st.sampled_from(FACTS) | st.builds(Noted, text=WORDS)
        earlier = draw(st.sampled_from(events)).id
        what = draw(
            facts
            | st.builds(Correction, event=st.just(earlier), instead=st.none() | facts, reason=WORDS)
            | st.just(Answered(run=earlier, circumstance="oil", value=20.0))
        )
        low, high = datetime(2001, 1, 1), datetime(2199, 1, 1)
        at = draw(st.datetimes(low, high, timezones=st.just(UTC)))
        events.append(told(what, draw(WORDS), at))
    return tuple(events)


@given(stories())
@settings(max_examples=300, deadline=None)
def test_a_story_comes_back_exactly(events: tuple[Event, ...]) -> None:
    text = story_text(events)
    back = read_story(read_text(text, "case.yaml"))
    assert (back, story_text(back)) == (events, text)
    assert text.replace("\n", "").isprintable()


@given(stories())
@settings(max_examples=50, deadline=None)
def test_the_same_as_json_reads_the_same(events: tuple[Event, ...]) -> None:
    assert read_story(read_text(json.dumps(story_data(events)), "case.json")) == events


def test_a_file_keeps_it_whatever_its_line_ends(tmp_path: Path) -> None:
    events = story(Noted(text="one\r\ntwo\rthree"), RUN)
    path = tmp_path / "case.yaml"
    path.write_bytes(story_text(events).replace("\n", "\r\n").encode())
    assert read_story(path) == events


def test_another_computer_ranks_it_the_same_to_the_last_digit() -> None:
    knowledge, events = load_knowledge(), story(*FACTS[:7], RUN)
    here = View(replay(events), knowledge).ranking
    there = View(replay(again(events)), knowledge).ranking
    assert [(c.id, c.probability) for c in there.causes] == [
        (c.id, c.probability) for c in here.causes
    ]


def test_a_machine_of_ones_own_goes_along(tmp_path: Path) -> None:
    shipped = load_knowledge().layouts["mounted-6"].read_text(encoding="utf-8")
    layout = shipped.replace("id: mounted-6", "id: mine")
    events = (opening("mine", layout), told(RUN, "Ben", START))
    assert again(events) == events


def test_an_event_that_stands_twice_counts_once() -> None:
    events = story(*FACTS)
    assert again((*events, *events)) == events


BAD_FACTS: list[tuple[Fact | Correction, str]] = [
    (Checked(check="respond", pattern="PPPPPP"), "a check, got 'respond'"),
    (Checked(check="bleed", pattern="PPPPP"), "6 letters, one for each row, got 5"),
    (Checked(check="bleed", pattern="PPPPPP", circumstances={"oil": "hot"}), "as a number"),
    (Checked(check="bleed", pattern="PPPPPP", circumstances={"oil": 5000.0}), "from .* got 5000"),
    (Checked(check="bleed", pattern="PPPPPP", circumstances={"engine": 1.0}), "on or .*got 1.0"),
    (Circumstances(values={"olio": 54.0}), "a circumstance of runs, got 'olio'"),
    (History(values={"oil": "warm"}), "one of the machine's past, got 'oil'"),
    (History(values={"first-hookup": "maybe"}), "got 'maybe'"),
    (Measured(measurement="coil-resistance", part="row-7/valve", value=7.0), "got 'row-7/valve'"),
    (Measured(measurement="coil-resistance", part="row-6/valve", value="much"), "a number"),
    (Measured(measurement="coil-resistance", part="row-6/valve", value=-1.0), "from 0 to"),
    (Measured(measurement="valve-code", part="row-6/valve", value=5.5), "a whole number"),
    (Measured(measurement="replace-coil", part="row-6/valve", value=5.5), "a measurement"),
    (Mended(remedy="replace-hose", part="row-6/valve"), "lists 'replace-hose'"),
    (
        Exchanged.model_validate(
            {"swap": "swap-coil", "part": "row-6/valve", "with": "row-6/valve"}
        ),
        "the like part of another row",
    ),
    (AtHand(without=("hammer",)), "a tool, got 'hammer'"),
    (Concluded(outcome="proven", causes=("row-9/valve:coil_open",)), "a part of mounted-6"),
    (Concluded(outcome="proven", causes=("row-6/valve:rust",)), "a mode of row-6/valve"),
    (Concluded(outcome="proven", causes=("circumstances/moon@1",)), "a circumstance, got 'moon'"),
    (Correction(event=32 * "0"), "an event of this case"),
    (Answered(run=32 * "0", circumstance="oil", value=20.0), "an event of this case"),
]


@pytest.mark.parametrize(("fact", "told_so"), BAD_FACTS, ids=[told_so for _, told_so in BAD_FACTS])
def test_what_the_machine_cannot_have_is_refused_with_its_line(
    fact: Fact | Correction, told_so: str
) -> None:
    with pytest.raises(FileProblems, match=rf"case.yaml:10: expected .*{told_so}"):
        again(story(fact))


def test_what_a_correction_puts_instead_is_looked_at_too() -> None:
    events = story(RUN)
    instead = Correction(event=events[1].id, instead=Checked(check="bleed", pattern="P"))
    with pytest.raises(FileProblems, match=r"case.yaml:14: expected 6 letters"):
        again((*events, told(instead, "Ben", START)))


def test_everything_that_is_wrong_is_told_at_once() -> None:
    with pytest.raises(FileProblems) as caught:
        again(story(*(fact for fact, _ in BAD_FACTS)))
    assert len(caught.value.problems) >= len(BAD_FACTS)


@pytest.mark.parametrize("machine", ["mounted-7", "/etc/passwd", "graphs/machines/mounted-6.yaml"])
def test_a_story_names_no_file_of_this_computer(machine: str) -> None:
    with pytest.raises(FileProblems, match="expected a machine that is known here"):
        again((opening(machine),))


def test_a_layout_is_that_of_the_machine() -> None:
    shipped = load_knowledge().layouts["mounted-6"].read_text(encoding="utf-8")
    with pytest.raises(FileProblems, match="expected a layout of mine, got one of mounted-6"):
        again((opening("mine", shipped),))


GOOD = story_text(story(RUN))
ID = story_data(story())["events"][0]["id"]


@pytest.mark.parametrize(
    ("text", "told_so"),
    [
        ("", "names with values"),
        ("schema: rowfault/case/1", "field 'events'"),
        ("schema: rowfault/case/1\nevents: []", "at least one"),
        ("schema: rowfault/case/1\nevents: 5", "a list"),
        ("schema: rowfault/case/2\nevents: []", "rowfault/case/1"),
        (GOOD.replace("schema: ", "scheme: "), "scheme"),
        (GOOD.replace('"opened"', '"closed"'), "line|kind|closed"),
        (GOOD.replace("54.0", "1e999"), "a plain number"),
        (GOOD.replace("54.0", "true"), "circumstances"),
        (GOOD.replace("54.0", "[[]]"), "circumstances"),
        (GOOD.replace('"PPP.?F"', "7"), "text"),
        (GOOD.replace('"PPP.?F"', '"PPPxyz"'), "text like"),
        (GOOD.replace('"response"', '"response", colour: "red"'), "colour"),
        (GOOD.replace('at: "2026', 'at: "0001'), "a time from 2000"),
        (GOOD.replace('at: "2026-03-01T08:00:00+00:00"', 'at: "soon"'), "at"),
        (GOOD.replace('at: "2026-03-01T08:00:00+00:00"', 'at: "2026-03-01T08:00:00"'), "at"),
        (GOOD.replace("events:", "events: &a"), "no & and"),
        (GOOD.replace('"Ann"', "!!python/object:os.system x"), "no tags"),
        ("a: " + 100 * "[" + 100 * "]", "levels of nesting"),
        ("\0", "text that can be printed"),
    ],
)
def test_what_is_no_story_is_refused(text: str, told_so: str) -> None:
    with pytest.raises(FileProblems, match=told_so):
        read_story(read_text(text, "case.yaml"))


def test_one_id_is_one_event() -> None:
    events = story(Noted(text="here"))
    other = events[1].model_copy(update={"what": Noted(text="there")})
    with pytest.raises(FileProblems, match=r"case.yaml:11: expected one event for an id"):
        again((*events, other))


def test_a_story_is_of_one_case() -> None:
    other = told(Opened(case="20260301-other", machine="mounted-6"), "Ann", START)
    with pytest.raises(FileProblems, match="expected one case, 20260301-small"):
        again((opening(), other))
    with pytest.raises(FileProblems, match="expected the opening of a case, got note"):
        again(story(Noted(text="here"))[1:])


def test_a_file_that_is_too_large_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "case.yaml"
    with path.open("wb") as stream:
        stream.truncate(50_000_000)
    with pytest.raises(FileProblems, match=f"at most {LARGEST_BYTES:,} bytes"):
        read_story(path)


def test_any_damage_is_refused_or_harmless() -> None:
    """Bytes changed anywhere end in a story or in `FileProblems`, never in anything else."""
    chance, whole = random.Random(7), story_text(story(*FACTS))
    for _ in range(300):
        letters = list(whole)
        for _ in range(chance.randint(1, 4)):
            letters[chance.randrange(len(letters))] = chance.choice("\"'{}[]:,-#&*!|>%@`\\ \nx0é")
        try:
            read_story(read_text("".join(letters), "case.yaml"))
        except FileProblems:
            continue
