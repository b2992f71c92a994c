"""The picture of the rows lines up, whatever the machine."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from diagnose.ui.terminal.rows import Line, draw_rows


def picture(pattern: str, sections: dict[str, list[int]], width: int = 80) -> list[str]:
    lines = draw_rows([Line("1 bleed", pattern)], sections, {}, width)
    return [line.plain for line in lines]


def test_sections_stand_apart() -> None:
    drawn = picture("PPFF", {"left": [1, 2], "right": [3, 4]})
    assert drawn[1:] == ["row        1  2    3  4", "1 bleed    o  o    X  X"]


def test_a_branch_is_drawn_under_its_rows() -> None:
    rows = {"all": [1, 2, 3, 4, 5, 6]}
    lines = draw_rows([Line("1 bleed", "PPPPPP")], rows, {"b-1": [1, 2, 3], "b-2": [4, 5, 6]})
    assert lines[-1].plain == "wiring    └─b-1──┘ └─b-2──┘"


def test_a_wide_machine_goes_on_below() -> None:
    """Of 60 columns 9 name the run, and each row takes 3 of the rest."""
    drawn = picture("P" * 40, {"all": list(range(1, 41))}, width=60)
    assert [line.split()[1] for line in drawn if line.startswith("row")] == ["1", "18", "35"]


@given(st.lists(st.integers(1, 9), min_size=1, max_size=9), st.integers(40, 120), st.data())
def test_each_row_stands_above_its_own_mark(
    sizes: list[int], width: int, data: st.DataObject
) -> None:
    """Reading the numbers above all X gives the failed rows, for any machine and any width."""
    ends = [sum(sizes[: n + 1]) for n in range(len(sizes))]
    sections = {
        f"s-{n}": list(range(end - size + 1, end + 1))
        for n, (size, end) in enumerate(zip(sizes, ends, strict=True))
    }
    pattern = "".join(
        data.draw(st.lists(st.sampled_from("PF?."), min_size=ends[-1], max_size=ends[-1]))
    )
    drawn = picture(pattern, sections, width)
    seen = [
        int(numbers[: column + 1].split()[-1])
        for numbers, marks in pairwise(drawn)
        if numbers.startswith("row")
        for column, mark in enumerate(marks)
        if mark == "X"
    ]
    assert seen == [row for row, mark in enumerate(pattern, start=1) if mark == "F"]
    assert max(map(len, drawn)) <= max(width, 11 + 4 * 3)
