"""A file in which anything was exchanged for anything is read, or refused with its problems."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from copy import deepcopy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.errors import FileProblems
from diagnose.formats.strictyaml import Document, read_text
from diagnose.observations.archive import read_story
from diagnose.observations.state import replay
from tests.knowledge.test_long_words import FILES, KNOWN, ways

WHATS = [
    {"kind": "opened", "case": "20260301-a", "machine": "mounted-6"},
    {"kind": "history", "values": {"first-hookup": "yes"}},
    {"kind": "circumstances", "values": {"engine": "on", "oil": None}},
    {"kind": "run", "check": "bleed", "pattern": "PPPPPF", "circumstances": {"oil": 54.0}},
    {"kind": "reading", "measurement": "coil-resistance", "part": "row-2/valve", "value": 7.4},
    {"kind": "answer", "run": f"{3:032x}", "circumstance": "oil", "value": 50.0},
    {"kind": "remedy", "remedy": "replace-coil", "part": "row-2/valve"},
    {"kind": "swap", "swap": "swap-coil", "part": "row-2/valve", "with": "row-3/valve"},
    {"kind": "note", "text": "x"},
    {"kind": "means", "without": ["gauge"], "alone": True},
    {"kind": "correction", "event": f"{8:032x}", "instead": {"kind": "note", "text": "y"}},
    {"kind": "conclusion", "outcome": "proven", "causes": ["row-2/valve:coil_open"]},
]
STORY = {
    "schema": "rowfault/case/1",
    "events": [
        {"id": f"{place:032x}", "at": "2026-03-01T00:00:00Z", "who": "A", "what": what}
        for place, what in enumerate(WHATS)
    ],
}


def a_story(document: Document) -> None:
    replay(read_story(document, KNOWN))


def told(read: Callable[[Document], object], whole: Any) -> list[str]:
    """What is wrong with a file of these data."""
    try:
        read(read_text(json.dumps(whole), "mine.yaml"))
    except FileProblems as error:
        return list(map(str, error.problems))
    return []


EVERY: Mapping[str, tuple[Any, Callable[[Document], object]]] = {
    **FILES,
    "a story": (STORY, a_story),
}
HOSTILE = [None, True, 0, -1, -0.0, 1e90, 10**30, "", "x", "yes", "{r.x}", "{", "\0", [], {}]
HOSTILE += [[[]], {"": 1}, {"a": {"b": [1]}}, "1-200", "0001-01-01T00:00:00+14:00", "x" * 300]


@st.composite
def spoilt(draw: st.DrawFn, data: Any) -> Any:
    """The data with values exchanged, copied about, left out, or put under another's name."""
    whole = deepcopy(data)
    for _ in range(draw(st.integers(1, 2))):
        every = list(ways(whole))
        path, other = (draw(st.sampled_from(every)) for _ in range(2))
        holder, taken = whole, whole
        for step in path[:-1]:
            holder = holder[step]
        for step in other:
            taken = taken[step]
        kept = holder.pop(path[-1])
        put = deepcopy(draw(st.sampled_from([kept, taken, *HOSTILE])))
        if isinstance(holder, list):
            holder.append(put)
        else:
            names = [path[-1], *map(str, other), str(taken)[:60], "kind", "note", "extra"]
            holder[draw(st.sampled_from(names))] = put
    return whole


@pytest.mark.slow
@pytest.mark.parametrize(("data", "read"), EVERY.values(), ids=EVERY.keys())
def test_a_spoilt_file_is_read_or_refused(data: Any, read: Callable[[Document], object]) -> None:
    @settings(max_examples=60)
    @given(spoilt(data))
    def holds(whole: Any) -> None:
        assert all(line.isprintable() for line in told(read, whole))

    holds()


@pytest.mark.parametrize("name", ["note", "run", "kind "])
def test_a_field_that_is_called_as_its_event_is_told_with_its_place(name: str) -> None:
    events = deepcopy(STORY["events"])
    sort = {"note": 8, "run": 3, "kind ": 8}[name]
    events[sort]["what"][name] = "x"
    with pytest.raises(FileProblems) as caught:
        read_story(read_text(json.dumps({**STORY, "events": events}), "a.json"), KNOWN)
    [problem] = caught.value.problems
    assert problem.got == repr(name)
    assert "one of the fields kind, " in problem.expected


def test_a_rule_that_puts_text_in_order_is_refused() -> None:
    data = deepcopy(EVERY["a rule"][0])
    data["when"][0]["where"] = {"measurement": {"below": "return-pressure"}}
    with pytest.raises(FileProblems, match="a number on both sides of an order"):
        EVERY["a rule"][1](read_text(json.dumps(data), "mine.yaml"))


def test_the_story_that_is_spoilt_is_sound() -> None:
    state = replay(read_story(read_text(json.dumps(STORY), "a.json"), KNOWN))
    assert len(state.told) == len(WHATS)
