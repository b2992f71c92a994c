"""The drawing is readable at 80 columns and tells where everything hangs."""

import pytest

from diagnose.errors import InputError
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.machine.tree import describe_row, draw_tree

LAYOUTS = sorted(load_knowledge().layouts)


@pytest.mark.parametrize("name", LAYOUTS)
def test_nothing_is_wider_than_80_columns(name: str) -> None:
    machine = load_machine(name)
    lines = [*draw_tree(machine), *describe_row(machine, 1), *describe_row(machine, machine.rows)]
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("name", LAYOUTS)
def test_the_drawing_fits_a_screen_and_names_every_group(name: str) -> None:
    machine = load_machine(name)
    drawing = "\n".join(draw_tree(machine))
    assert drawing.count("\n") <= 48
    for place in (*machine.sections, *machine.branches, *machine.controllers, *machine.ports):
        assert place in drawing


def test_the_tail_of_a_chain_is_seen() -> None:
    assert "row 5 → 4 → 3 → 2 → 1, a chain" in "\n".join(draw_tree(load_machine("folding-16")))


@pytest.mark.parametrize("name", LAYOUTS)
def test_a_row_is_told_everything_that_it_depends_on(name: str) -> None:
    machine = load_machine(name)
    words = "\n".join(describe_row(machine, 3)).split()
    for check in ("bleed", "response"):
        assert set(machine.ancestors(3, check)) <= set(words)


def test_a_row_that_the_machine_lacks_is_told() -> None:
    with pytest.raises(InputError, match="expected a row from 1 to 6, got 7"):
        describe_row(load_machine("mounted-6"), 7)
