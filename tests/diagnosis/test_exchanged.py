"""Pieces that were swapped between rows: where they are, and how they go back."""

from __future__ import annotations

from dataclasses import replace

import hypothesis.strategies as st
import pytest
from hypothesis import example, given, settings

from diagnose.diagnosis.exchanged import exchanged
from diagnose.machine.graph import load_machine
from diagnose.observations.events import Remedied, Swapped, Work
from tests.planner.worksites import out_of_place

MACHINE = load_machine("mounted-6")
PARTS = {
    "cross-plugs": "connector",
    "swap-coil": "valve",
    "swap-valve": "valve",
    "swap-driver": "driver",
    "swap-sensor": "sensor",
}


def swap(name: str, one: int, other: int) -> Swapped:
    return Swapped(name, f"row-{one}/{PARTS[name]}", f"row-{other}/{PARTS[name]}")


swaps = st.builds(
    lambda name, rows: swap(name, *rows),
    st.sampled_from(sorted(PARTS)),
    st.lists(st.integers(1, 6), min_size=2, max_size=2, unique=True),
)


def pieces(work: list[Work]) -> dict[tuple[int, str], tuple[int, str]]:
    """Where every piece of every row is, moved by hand: an independent account."""
    carried = {
        "cross-plugs": ["lead"],
        "swap-coil": ["coil"],
        "swap-valve": ["coil", "body"],
        "swap-driver": ["drive"],
        "swap-sensor": ["sensor"],
    }
    at = {
        (row, piece): (row, piece)
        for row in range(1, 7)
        for piece in ("lead", "drive", "coil", "body", "sensor")
    }
    for done in work:
        assert isinstance(done, Swapped)
        one, other = (int(part.split("/")[0].split("-")[1]) for part in (done.part, done.other))
        for piece in carried[done.swap]:
            at[one, piece], at[other, piece] = at[other, piece], at[one, piece]
    return at


@settings(max_examples=150, deadline=None)
@given(st.lists(swaps, max_size=7))
def test_something_is_exchanged_exactly_when_a_piece_is_out_of_its_row(work: list[Work]) -> None:
    home = all(place == piece for place, piece in pieces(work).items())
    assert (exchanged(MACHINE, work) == ()) == home


renewals = st.builds(
    lambda remedy, row: Remedied(remedy, f"row-{row}/{PARTS[remedy.replace('replace', 'swap')]}"),
    st.sampled_from(["replace-coil", "replace-valve", "replace-driver", "replace-sensor"]),
    st.integers(1, 6),
)


AROUND = [
    swap("swap-valve", 2, 3),
    swap("swap-coil", 3, 1),
    Remedied("replace-valve", "row-3/valve"),
]
"""Valve 2 and coil 1 are gone with it; coil 2 sits on valve 1, and valve 3 with its own coil in
row 2. None of them has another place to go to."""


@settings(max_examples=300, deadline=None)
@given(st.lists(st.one_of(swaps, swaps, renewals), max_size=9))
@example(AROUND)
@example([swap("swap-coil", 3, 1), swap("swap-valve", 2, 3), AROUND[2]])
def test_whatever_was_renewed_what_is_said_brings_everything_home(work: list[Work]) -> None:
    back = [each.work for each in exchanged(MACHINE, work)]
    assert len(back) <= 6 * len(PARTS)
    assert exchanged(MACHINE, [*work, *back]) == ()
    assert (back == []) == (not out_of_place(work))


def test_a_coil_whose_own_valve_is_gone_has_no_other_row_to_go_to() -> None:
    assert exchanged(MACHINE, AROUND) == ()


def test_a_valve_that_is_away_is_out_of_place_though_the_coil_on_it_is_its_own_rows() -> None:
    work = [swap("swap-valve", 1, 2), swap("swap-coil", 1, 2)]
    assert [each.swap.id for each in exchanged(MACHINE, work)] == ["swap-valve", "swap-coil"]


@pytest.mark.parametrize("work", [AROUND, [*AROUND, swap("swap-valve", 1, 2)]])
def test_in_which_order_a_file_lists_swaps_changes_nothing(work: list[Work]) -> None:
    kind = MACHINE.parts["row-1/valve"]
    turned = kind.model_copy(update={"swaps": kind.swaps[::-1]})
    parts = {name: turned if each is kind else each for name, each in MACHINE.parts.items()}
    other = replace(MACHINE, parts=parts)
    found = [exchanged(machine, work) for machine in (MACHINE, other)]
    assert found[0] == found[1]


def test_leads_stay_crossed_whatever_driver_is_new() -> None:
    work = [swap("cross-plugs", 3, 2), Remedied("replace-driver", "row-2/driver")]
    assert [each.swap.id for each in exchanged(MACHINE, work)] == ["cross-plugs"]


def test_a_new_coil_on_a_valve_that_is_away_goes_home_with_it() -> None:
    work = [swap("swap-valve", 1, 2), Remedied("replace-coil", "row-1/valve")]
    assert [each.swap.id for each in exchanged(MACHINE, work)] == ["swap-valve"]


@settings(max_examples=150, deadline=None)
@given(st.lists(swaps, max_size=7))
def test_doing_what_is_said_brings_every_piece_home(work: list[Work]) -> None:
    back = [each.work for each in exchanged(MACHINE, work)]
    after = pieces([*work, *back])
    assert all(place == piece for place, piece in after.items())


@pytest.mark.parametrize(
    ("remedy", "left"),
    [
        (Remedied("replace-coil", "row-2/valve"), ()),
        (Remedied("replace-valve", "row-1/valve"), ()),
        (Remedied("clean-valve", "row-1/valve"), ("swap-coil",)),
        (Remedied("replace-coil", "row-3/valve"), ("swap-coil",)),
    ],
)
def test_a_new_piece_at_either_place_ends_an_exchange(
    remedy: Remedied, left: tuple[str, ...]
) -> None:
    found = exchanged(MACHINE, [swap("swap-coil", 1, 2), remedy])
    assert tuple(each.swap.id for each in found) == left


def test_the_other_two_of_three_coils_still_go_back_when_one_is_new() -> None:
    work = [swap("swap-coil", 1, 2), swap("swap-coil", 2, 3)]
    assert len(exchanged(MACHINE, work)) == 2
    (left,) = exchanged(MACHINE, [*work, Remedied("replace-coil", "row-1/valve")])
    assert left.rows == (2, 3)
