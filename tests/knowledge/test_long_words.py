"""A word of thousands of letters, wherever it stands in a file, is never repeated whole."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from typing import Any

import pytest

from diagnose.errors import FileProblems
from diagnose.formats.model import check_model
from diagnose.formats.strictyaml import Document, read_file, read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.circumstances import Circumstance
from diagnose.knowledge.parts import PartKind
from diagnose.knowledge.priors import PRIORS_SCHEMA, read_priors
from diagnose.machine.assemble import machine_in
from diagnose.observations.casefile import read_case
from diagnose.paths import shipped
from diagnose.rules.check import problems_of
from diagnose.rules.names import Names
from diagnose.rules.reading import problems_between
from diagnose.rules.rulefile import rule_of

KNOWN = load_knowledge()
LONG = "x" * 3000
LINE = 700
"""Letters that one problem may take."""


def spoilt(data: Any) -> Iterator[Any]:
    """The data with one value, or one name, exchanged for a long word, at each place in turn."""
    for path in ways(data):
        holder = whole = deepcopy(data)
        for step in path[:-1]:
            holder = holder[step]
        last = path[-1]
        if isinstance(holder, dict):
            yield _renamed(data, path)
        holder[last] = LONG
        yield whole


def _renamed(data: Any, path: tuple[str | int, ...]) -> Any:
    holder = whole = deepcopy(data)
    for step in path[:-1]:
        holder = holder[step]
    holder[LONG] = holder.pop(path[-1])
    return whole


def ways(data: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """The way to every value."""
    items = data.items() if isinstance(data, dict) else enumerate(data)
    for step, value in items:
        yield (*path, step)
        if isinstance(value, dict | list):
            yield from ways(value, (*path, step))


def a_rule(document: Document) -> None:
    file, problems = rule_of(document)
    if file is not None:
        problems += [*problems_of(file, Names(KNOWN)), *problems_between([file])]
    raise FileProblems(problems)


def a_model(kind: type[Any]) -> Callable[[Document], None]:
    def read(document: Document) -> None:
        raise FileProblems(check_model(document, kind)[1])

    return read


STORY = {
    "machine": "mounted-6",
    "history": {"first-hookup": "yes"},
    "circumstances": {"engine": "on"},
    "story": [
        {"check": "bleed", "pattern": "PPPPPF", "circumstances": {"oil": "54 C"}},
        {"check": "response", "rows": {"fail": 6, "pass": "rest"}},
        {"measurement": "coil-resistance", "part": "row-2/valve", "value": "7.4 ohm"},
        {"remedy": "replace-coil", "part": "row-2/valve"},
        {"swap": "swap-coil", "part": "row-2/valve", "with": "row-3/valve"},
    ],
}
PRIORS = {
    "schema": PRIORS_SCHEMA,
    "id": "ours",
    "accepted": "2026-03-01T09:30:00+00:00",
    "by": "workshop",
    "cases": 40,
    "parts": {"valve": {"coil_open": 0.02}},
    "frames": {"mounted": {"valve": {"coil_open": 0.03}}},
}
FILES: Mapping[str, tuple[Any, Callable[[Document], object]]] = {
    "a case": (STORY, lambda document: read_case(document, KNOWN)),
    "priors": (PRIORS, lambda document: read_priors(document, KNOWN.parts)),
    "a layout": (
        read_file(KNOWN.layouts["folding-16"]).data,
        lambda document: machine_in(document, KNOWN),
    ),
    "a part kind": (read_file(shipped().parts / "valve.yaml").data, a_model(PartKind)),
    "a circumstance": (
        read_file(shipped().circumstances / "oil.yaml").data,
        a_model(Circumstance),
    ),
    "a rule": (
        read_file(shipped().rules / "contradictions" / "readings-disagree.yaml").data,
        a_rule,
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize(("data", "read"), FILES.values(), ids=FILES.keys())
def test_a_long_word_is_not_repeated_whole(data: Any, read: Callable[[Document], object]) -> None:
    for whole in spoilt(data):
        try:
            read(read_text(json.dumps(whole), "mine.yaml"))
        except FileProblems as error:
            longest = max(map(str, error.problems), key=len, default="")
            assert len(longest) < LINE, longest[:300]


def test_a_long_name_that_is_there_twice_is_cut() -> None:
    [problem] = read_text(f"{LONG[:1000]}: 1\n{LONG[:1000]}: 2\n", "mine.yaml").problems
    assert len(str(problem)) < LINE
