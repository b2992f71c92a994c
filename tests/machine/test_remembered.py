"""A machine that was built once is taken from the cache, and never when it would be another."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from diagnose.errors import FileProblems
from diagnose.formats import cache as remembered
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine import assemble
from diagnose.machine.graph import Machine, read_machine

KNOWN = load_knowledge()
Load = Callable[[Knowledge], tuple[Machine, bool]]


@pytest.fixture
def layout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A layout file, with a cache of the test's own."""
    monkeypatch.delenv(remembered.OFF, raising=False)
    monkeypatch.setattr(remembered, "_place", lambda name: tmp_path / "cache" / f"{name}.json")
    return Path(shutil.copy(KNOWN.layouts["folding-16"], tmp_path / "mine.yaml"))


@pytest.fixture
def load(layout: Path, monkeypatch: pytest.MonkeyPatch) -> Load:
    """Load the machine, and tell whether it was built for that."""
    built: list[int] = []
    slow = assemble.machine_in
    monkeypatch.setattr(assemble, "machine_in", lambda *told: (built.append(1), slow(*told))[1])

    def loaded(knowledge: Knowledge) -> tuple[Machine, bool]:
        built.clear()
        return read_machine(layout, knowledge), bool(built)

    return loaded


def test_a_machine_is_built_once(load: Load) -> None:
    (first, built), (second, again) = load(KNOWN), load(KNOWN)
    assert (built, again, first == second) == (True, False, True)
    assert list(first.parts) == list(second.parts)


def test_a_layout_that_changed_is_read_anew(load: Load, layout: Path) -> None:
    load(KNOWN)
    layout.write_text(layout.read_text().replace("name: folding", "name: folded"))
    machine, built = load(KNOWN)
    assert (machine.name.startswith("folded"), built) == (True, True)


def test_a_layout_that_is_no_longer_sound_is_told(load: Load, layout: Path) -> None:
    load(KNOWN)
    layout.write_text(layout.read_text() + "rubbish: 1\n")
    with pytest.raises(FileProblems, match="rubbish"):
        load(KNOWN)


def test_the_same_layout_with_other_part_kinds_is_another_machine(load: Load) -> None:
    load(KNOWN)
    filter = KNOWN.parts["filter"].model_copy(update={"reach": "row"})
    others = {**KNOWN.parts, "filter": filter}
    assert load(replace(KNOWN, parts=others))[1]


def test_what_else_is_known_of_part_kinds_is_never_remembered_with_a_machine(load: Load) -> None:
    load(KNOWN)
    valve = KNOWN.parts["valve"].model_copy(update={"name": "valve of ours"})
    machine, built = load(replace(KNOWN, parts={**KNOWN.parts, "valve": valve}))
    assert (machine.parts["row-1/valve"], built) == (valve, False)
