"""A story written to a file comes back exactly, and what is no story is refused with its line."""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.errors import FileProblems, UnknownName
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.observations.archive import read_story, story_text
from diagnose.observations.entries import (
    Concluded,
    Correction,
    Event,
    Noted,
    Opened,
    Skipped,
    new_event,
)
from diagnose.observations.events import Circumstances, Reading, Remedied, Run, Swapped
from diagnose.observations.state import replay
from diagnose.projection import Projection
from diagnose.reports.ranking import ranking_report

KNOWLEDGE = load_knowledge()
AT = datetime(2026, 3, 1, 8, 0, 0, 123456, tzinfo=UTC)
OPENING = new_event(Opened(case="20260301-a", machine="mounted-12"), "Ann", AT)
WARM = {"oil": 117.999 / 2.3, "engine": "on"}
STORY = [
    OPENING,
    new_event(Circumstances({"oil": 54.0, "supply": None}), "Ann", AT),
    new_event(Run.of("response", "PPPPFPPPPPPP", WARM), "Ann", AT),
    new_event(Swapped("swap-coil", "row-5/valve", "row-6/valve"), "Ben", AT),
    new_event(Run.of("response", "....PF......", WARM), "Ben", AT),
    new_event(Reading("coil-resistance", "row-6/valve", 1 / 3), "Ben", AT),
    new_event(Remedied("replace-coil", "row-6/valve"), "Ben", AT),
    new_event(Skipped(act="response@5-6", reason="no: off"), "Ben", AT),
]  # fmt: skip

printable = st.text(
    st.characters(blacklist_categories=("Cs", "Cc"), max_codepoint=0x1FFFF), min_size=1, max_size=60
)
nasty = printable | st.sampled_from(
    ["off", "no", "Y", "NULL", "True", "010", "12:30:00",
     "~", "null", "- a", "a: b", "#", "'", '"', "&a *b", "!!x",
     "<script>alert(1)</script>", "'; DROP TABLE cases; --", "{{ 7*7 }}", "\n\n", "\t", "%", "@",
     "a\nb: [", "\u202e row", "\u2028", "\ufeff", "🚜", " x ", "---", "...", "? :", "| >", "="]
)  # fmt: skip


def again(events: list[Event]) -> list[Event]:
    return list(read_story(read_text(story_text(events), "a.yaml"), KNOWLEDGE))


@pytest.mark.slow
@given(nasty, nasty, nasty, st.integers(-720, 720))
@settings(max_examples=300, deadline=None)
def test_any_text_comes_back_exactly(title: str, note: str, who: str, zone: int) -> None:
    at = AT.astimezone(timezone(timedelta(minutes=zone)))
    opening = new_event(Opened(case="20260301-a", machine="mounted-6", title=title), who, AT)
    events = [opening, new_event(Noted(note), who, at)]
    assert again(events) == events


@pytest.mark.slow
@given(st.floats(-40, 200), st.floats(0, 1e6))
@settings(max_examples=100, deadline=None)
def test_any_number_comes_back_to_the_last_digit(oil: float, ohm: float) -> None:
    run = Run.of("bleed", "P" * 12, {"oil": oil})
    read = Reading("coil-resistance", "row-6/valve", ohm)
    oils = KNOWLEDGE.circumstances["oil"]
    if (oils.lowest or 0) <= oil <= (oils.highest or 0):
        events = [OPENING, new_event(run, "Ann", AT), new_event(read, "Ann", AT)]
        assert again(events) == events


def test_every_sort_of_event_comes_back(tmp_path: Path) -> None:
    events = [*STORY, new_event(Correction(event=STORY[2].id, instead=Noted("x")), "Ann", AT)]
    events.append(
        new_event(Concluded(outcome="proven", causes=("row-6/valve:coil_open",)), "Ann", AT)
    )
    path = tmp_path / "story.yaml"
    path.write_text(story_text(events), encoding="utf-8")
    assert list(read_story(path, KNOWLEDGE)) == events


def test_a_story_taken_up_elsewhere_ranks_the_same_to_the_last_digit() -> None:
    here, there = replay(STORY), replay(again(STORY))
    assert here == there
    reports = [ranking_report(Projection(state, KNOWLEDGE).ranking, 0) for state in (here, there)]
    assert reports[0] == reports[1]


def test_a_layout_that_did_not_ship_travels_with_the_story() -> None:
    layout = KNOWLEDGE.layouts["mounted-6"].read_text().replace("id: mounted-6", "id: ours")
    opening = new_event(Opened(case="20260301-a", machine="ours", layout=layout), "Ann", AT)
    state = replay(again([opening]))
    assert Projection(state, KNOWLEDGE).machine.id == "ours"
    with pytest.raises((UnknownName, FileProblems)):
        again([new_event(Opened(case="20260301-a", machine="ours"), "Ann", AT)])


def written(what: str, before: str = "") -> str:
    opening = "kind: opened, case: 20260301-a, machine: mounted-6"
    return (
        "schema: rowfault/case/1\nevents:\n"
        f"- {{id: {'a' * 32}, at: '2026-03-01T08:00:00Z', who: Ann, what: {{{opening}}}}}\n{before}"
        f"- {{id: {'b' * 32}, at: '2026-03-01T08:00:00Z', who: Ann, what: {what}}}\n"
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (written("{kind: note}"), "a.yaml:4: expected the field 'text'"),
        (written("{kind: nonsense}"), "a.yaml:4"),
        (written("{kind: note, text: 7}"), "a.yaml:4: expected text"),
        (written("{kind: note, text: x, more: y}"),
         "a.yaml:4: expected one of the fields kind, text, got 'more'"),
        (written("{kind: swap, swap: swap-coil, part: row-2/valve, with: row-3/valve, check: x}"),
         "a.yaml:4: expected one of the fields kind, swap, part, with, got 'check'"),
        (written("{kind: circumstances, values: {}, circumstances: {oil: 54.0}}"),
         "a.yaml:4: expected one of the fields kind, values, got 'circumstances'"),
        (written("{kind: remedy, remedy: 7, part: row-2/valve}"), "a.yaml:4: expected text"),
        (written("{kind: note, text: x}").replace("2026-03-01T08:00:00Z",
         "0001-01-01T00:00:00+14:00"), "a.yaml:3: expected a time within the years 1 to 9999"),
        (written('{kind: note, text: "a\\x1b[31m"}'), "text without control characters"),
        (written("{kind: run, check: bleed, pattern: PPP}"), "a.yaml:4: expected 6 letters, got 3"),
        (written("{kind: run, check: bled, pattern: PPPPPP}"), "did you mean bleed"),
        (written("{kind: run, check: bleed, pattern: XXXXXX}"), "a.yaml:4"),
        (written("{kind: run, check: bleed, pattern: PPPPPP, circumstances: {oil: 999.0}}"),
         "oil temperature from -60 °C"),
        (written("{kind: run, check: bleed, pattern: PPPPPP, circumstances: {engine: warm}}"),
         "expected on or off"),
        (written("{kind: circumstances, values: {first-hookup: 'yes'}}"), "a circumstance"),
        (written("{kind: history, values: {first-hookup: maybe}}"), "expected no or yes"),
        (written("{kind: reading, measurement: coil-resistance, part: row-9/valve, value: 1.0}"),
         "a part"),
        (written("{kind: reading, measurement: coil-resistance, part: row-2/valve, value: hot}"),
         "a number"),
        (written("{kind: reading, measurement: valve-code, part: row-2/valve, value: 99.0}"),
         "0 to 31"),
        (written("{kind: remedy, remedy: replace-coil, part: row-2/cylinder}"), "a part"),
        (written("{kind: swap, swap: swap-coil, part: row-2/valve, with: row-2/valve}"),
         "the like part of another row"),
        (written("{kind: conclusion, outcome: proven, causes: [row-2/valve:rust]}"), "a mode"),
        (written("{kind: opened, case: 20260301-b, machine: mounted-6}"), "one opening"),
        (written(f"{{kind: correction, event: {'b' * 32}}}"), "an earlier event"),
        ("schema: rowfault/case/1\nevents: []", "at least one"),
        ("schema: rowfault/case/3\nevents: []", "at least one"),
        ("schema: rowfault/case/4\nevents: []", "rowfault/case/3"),
        ("schema: rowfault/case/1\nevents: &a [*a]", "no & and \\* references"),
        ("a: &a [x,x]\nb: &b [*a,*a]\nc: &c [*b,*b]\nd: [*c,*c]", "no & and \\* references"),
        ("[" * 5000, "nesting"),
        (written("{kind: note, text: x}").replace("mounted-6", "mounted-7"), "did you mean"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused_with_its_line(text: str, words: str) -> None:
    with pytest.raises(FileProblems, match=words):
        read_story(read_text(text, "a.yaml"), KNOWLEDGE)


TEXT = story_text(STORY)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (TEXT.replace("PPPPFPPPPPPP", "PPPPPPPPPPPP"), "a.yaml:23: expected entry 3 as it was"),
        (TEXT.replace("who: Ben", "who: Ann", 1), "expected entry 4 as it was written"),
        (TEXT.replace("oil: 54.0", "oil: 54.5"), "expected entry 2 as it was written"),
        (TEXT.replace("entries: 8", "entries: 9"), "expected 9 entries and the last of them"),
        (TEXT[: TEXT.rindex("- id:")], "expected 8 entries and the last of them, got 7"),
        (TEXT.replace("\n  sha256: ", "\n  shasum: ", 1), "expected entry 1|one of the fields"),
        (TEXT.replace("case/3", "case/1"), "one of the fields"),
        (TEXT.replace("case/3", "case-rest/2"), "rowfault/case/3"),
    ],
)  # fmt: skip
def test_an_archive_that_was_changed_on_its_way_is_refused(text: str, words: str) -> None:
    assert text != TEXT
    with pytest.raises(FileProblems, match=words):
        read_story(read_text(text, "a.yaml"), KNOWLEDGE)


def test_a_file_of_fifty_megabytes_is_refused_before_it_is_read() -> None:
    with tempfile.NamedTemporaryFile(suffix=".yaml") as file:
        file.truncate(50_000_000)
        with pytest.raises(FileProblems, match="expected at most 5,000,000 bytes"):
            read_story(Path(file.name), KNOWLEDGE)


@pytest.mark.slow
@given(st.binary(max_size=200))
@settings(max_examples=200, deadline=None)
def test_noise_in_a_story_is_refused_without_harm(noise: bytes) -> None:
    raw = bytearray(story_text(STORY).encode())
    place = len(noise) * 37 % len(raw)
    raw[place : place + len(noise)] = noise
    with tempfile.NamedTemporaryFile(suffix=".yaml") as file:
        file.write(raw)
        file.flush()
        try:
            events = read_story(Path(file.name), KNOWLEDGE)
        except FileProblems:
            return
    assert replay(events).case.machine == "mounted-12"
