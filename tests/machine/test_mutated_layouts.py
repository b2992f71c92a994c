"""Whatever is done to a layout file, it is read or refused with a message."""

import copy
import json
import random
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.errors import RowfaultError
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.machine.tree import describe_row, draw_tree

KNOWLEDGE = load_knowledge()
CIRCLE = "extra:\n  - {id: a/b, kind: filter, needs: [supply/hose], serves: [section-1/hose]}\n"
TEXTS = [
    KNOWLEDGE.layouts[name].read_text("utf-8") + CIRCLE
    for name in ("mounted-6", "mounted-12", "folding-16")
]
SIGNS = list("[]{}:-&*!|>%@`'\"#~\t\x00é")
NUMBERS = ["0", "-1", "1e999", ".nan", "1-1", "99999999999", "1-999999", "010", "12:30", "1,1"]
WORDS = ["off", "true", "null", "star", "chain", "section-1", "port-left", "a/b", "row-1/valve"]
ODD = [*SIGNS, *NUMBERS, *WORDS]


def mutated(text: str, chance: random.Random) -> str:
    """The text with one piece of it lost, doubled, moved, or put in place of another."""
    pieces = (text.splitlines(keepends=True) if chance.random() < 0.4 else split(text)) or [""]
    at, other = chance.randrange(len(pieces)), chance.randrange(len(pieces))
    kind = chance.randrange(6)
    if kind == 0:
        del pieces[at]
    elif kind == 1:
        pieces.insert(other, pieces[at])
    elif kind == 2:
        pieces[at], pieces[other] = pieces[other], pieces[at]
    elif kind == 3:
        pieces[at] = pieces[other]
    elif kind == 4:
        pieces[at] = chance.choice(ODD)
    else:
        pieces = pieces[: at + 1]
    return "".join(pieces)


def split(text: str) -> list[str]:
    """Words, blanks and signs, which joined are the text again."""
    pieces = [""]
    for sign in text:
        if sign.isalnum() and pieces[-1].isalnum():
            pieces[-1] += sign
        else:
            pieces.append(sign)
    return pieces


@pytest.mark.slow
@settings(
    max_examples=2000, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.sampled_from(TEXTS), st.integers(1, 3), st.integers(0, 2**32))
def test_a_mutated_layout_is_read_or_refused(
    tmp_path: Path, text: str, times: int, seed: int
) -> None:
    chance = random.Random(seed)
    for _ in range(times):
        text = mutated(text, chance)
    path = tmp_path / "mutated.yaml"
    path.write_text(text, "utf-8")
    with suppress(RowfaultError):
        machine = load_machine(str(path), KNOWLEDGE)
        assert draw_tree(machine) + describe_row(machine, machine.rows)


def holders(data: Any) -> list[Any]:
    """Every list and mapping inside the data, itself too."""
    inside = data.values() if isinstance(data, dict) else data if isinstance(data, list) else ()
    return [data, *(deep for each in inside for deep in holders(each))] if inside else []


def with_a_value_changed(data: Any, chance: random.Random) -> Any:
    """The data with one value lost, or put in place of another, or made something odd."""
    holder = chance.choice(holders(data))
    key = chance.choice(list(holder) if isinstance(holder, dict) else range(len(holder)))
    other = chance.choice(holders(data))
    kind = chance.randrange(4)
    if kind == 0:
        del holder[key]
    elif kind == 1:
        holder[key] = copy.deepcopy(other)
    else:
        holder[key] = chance.choice([*NUMBERS, *WORDS, 0, 3, 7, -1, 1.5, True, None, [], {}])
    return data


@pytest.mark.slow
@settings(
    max_examples=1000, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.sampled_from(TEXTS), st.integers(1, 2), st.integers(0, 2**32))
def test_a_layout_with_odd_values_is_read_or_refused(
    tmp_path: Path, text: str, times: int, seed: int
) -> None:
    chance, data = random.Random(seed), read_text(text, "good").data
    for _ in range(times):
        data = with_a_value_changed(data, chance)
    path = tmp_path / "mutated.json"
    path.write_text(json.dumps(data), "utf-8")
    with suppress(RowfaultError):
        machine = load_machine(str(path), KNOWLEDGE)
        assert draw_tree(machine) + describe_row(machine, machine.rows)


@settings(
    max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "bytes.yaml"
    path.write_bytes(content)
    with suppress(RowfaultError):
        load_machine(str(path), KNOWLEDGE)
