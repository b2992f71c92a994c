"""Smallest sets of parts that could explain what failed, against published cases."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.machine.graph import load_machine
from diagnose.observations.typed import read_typed
from tests.oracles.hitting_sets import conflicts, minimal_hitting_sets, smallest_size

# Name, conflicts, minimal hitting sets. Sources:
# full adder: Reiter (1987), A theory of diagnosis from first principles, AIJ 32(1):57-95
# polybox: de Kleer and Williams (1987), Diagnosing multiple faults, AIJ 32(1):97-130
# tree: the collection of Reiter's hitting-set tree; answer by trying all 64 subsets
# trap: Greiner, Smith and Wilkerson (1989), a correction to Reiter's algorithm, AIJ 41(1):79-88
# seven: published with its answers in the README of github.com/kaityo256/mhs_cpp
# superset: the adder once A2 is seen to be 1; a superset of an old answer becomes minimal
PUBLISHED = {
    "full adder": ("X1 X2, X1 A2 O1", "X1, A2 X2, O1 X2"),
    "superset": ("O1, X1 X2, X2 A2", "O1 X2, A2 O1 X1"),
    "polybox": ("A1 M1 M2, A1 A2 M1 M3", "A1, M1, A2 M2, M2 M3"),
    "tree": (
        "2 4 5, 1 2 3, 1 3 5, 2 4 6, 2 4, 2 3 5, 1 6",
        "1 2, 1 3 4, 1 4 5, 2 3 6, 2 5 6, 3 4 6",
    ),
    "trap": ("a b, b c, a c, b d, b", "a b, b c"),
    "seven": ("7 6 4 2, 8 7 4 2, 8 7 3 2, 6 5 4 2", "2, 3 4, 4 7, 4 8, 5 7, 6 7, 6 8"),
}

LETTERS = st.lists(st.frozensets(st.sampled_from("abcdefg"), min_size=1, max_size=4), max_size=7)


def sets(text: str) -> list[frozenset[str]]:
    """Sets of words, the sets with commas between them."""
    return [frozenset(one.split()) for one in text.split(",")]


@pytest.mark.parametrize("name", PUBLISHED)
def test_minimal_hitting_sets_are_those_published(name: str) -> None:
    given_conflicts, answer = PUBLISHED[name]
    assert set(minimal_hitting_sets(sets(given_conflicts))) == set(sets(answer))


def test_the_smallest_set_is_found_where_greed_needs_three() -> None:
    # A mathematics question and answer: taking 1, which hits most, first ends with three.
    greedy_trap = sets("1 2 3, 1 3 4, 1 4 5, 1 2 5, 2 3, 4 5")
    assert smallest_size(greedy_trap) == 2
    assert frozenset("24") in minimal_hitting_sets(greedy_trap)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(LETTERS)
def test_hitting_sets_are_those_of_trying_every_subset(some: list[frozenset[str]]) -> None:
    every = [frozenset(c) for n in range(8) for c in combinations("abcdefg", n)]
    hitting = [one for one in every if all(one & conflict for conflict in some)]
    minimal = {one for one in hitting if not any(less < one for less in hitting)}
    assert set(minimal_hitting_sets(some)) == minimal
    assert smallest_size(some) == min(map(len, minimal))


def test_a_conflict_without_parts_cannot_be_explained() -> None:
    assert smallest_size([frozenset("ab"), frozenset()]) is None
    assert minimal_hitting_sets([frozenset("ab"), frozenset()]) == []


def explanations(machine: str, *typed: str) -> list[frozenset[str]]:
    """Minimal sets of parts of a machine that explain typed results."""
    built = load_machine(machine)
    return minimal_hitting_sets(conflicts(built, read_typed(built, typed)))


def test_one_row_failing_response_alone_is_explained_by_its_own_parts() -> None:
    found = explanations("mounted-12", "bleed=PPPPPPPPPPPP", "response=PPPFPPPPPPPP")
    assert frozenset({"row-4/valve"}) in found
    assert all(part.startswith("row-4/") for one in found for part in one)


def test_a_branch_across_two_sections_explains_its_rows_alone() -> None:
    found = explanations("mounted-12", "response=PPPPFFFFPPPP")
    assert [one for one in found if len(one) == 1] == [frozenset({"harness-2/branch"})]


def test_two_far_rows_need_two_parts() -> None:
    built = load_machine("mounted-12")
    case = read_typed(built, ["response=PPFPPPPPPPFP"])
    assert smallest_size(conflicts(built, case)) == 2
