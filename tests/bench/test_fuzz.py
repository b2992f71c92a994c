"""A small part of the hostile inputs, in the gate; the long run is a command of `fuzz`."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench.fuzz import Found, lonely, tried, wrong_with
from tests.bench.inputs import FAMILIES, given

COUNT, FIRST = 120, 1_000_000
"""Other numbers than those of the long run."""


@pytest.fixture
def found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Found]:
    for name in ("ROWFAULT_HOME", "XDG_CACHE_HOME", "COLUMNS", "ROWFAULT_CASEBOOK"):
        monkeypatch.setenv(name, "")  # so that what is set below is taken back afterwards
    lonely(tmp_path)
    return [tried(given(number), tmp_path) for number in range(FIRST, FIRST + COUNT)]


@pytest.mark.slow
def test_hostile_inputs_end_in_messages(found: list[Found]) -> None:
    assert [(each.number, each.fault) for each in found if each.fault] == []
    assert 2 * sum(each.ranked for each in found) >= COUNT


@pytest.mark.slow
def test_inputs_are_of_every_sort_and_the_same_each_time() -> None:
    made = [given(number) for number in range(3000)]
    assert {each.family for each in made} == set(FAMILIES)
    assert made[:50] == [given(number) for number in range(50)]


def test_what_the_fuzz_looks_for_it_finds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.bench import fuzz

    def broken(*_: object) -> None:
        raise KeyError("row")

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr("diagnose.ui.cli.machine._list_all", broken)
    assert wrong_with(fuzz.run(["machine", "list"], ""))[0].startswith("traceback: KeyError at ")
