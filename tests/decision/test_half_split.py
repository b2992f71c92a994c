"""Series chains: half-split, Huffman and alphabetic trees.

D. A. Huffman (1952), Proc. IRE 40:1098; E. N. Gilbert and E. F. Moore (1959), BSTJ 38:933;
T. C. Hu and A. C. Tucker (1971); T. H. Cormen et al., Introduction to Algorithms (its Huffman
example, total 224, and its optimal search tree, 2.75). Other figures recomputed from the weights.
"""

from __future__ import annotations

from fractions import Fraction
from math import ceil, log2

import pytest

from tests.oracles.isolation import optimal_test_tree, tree_depths

TABLE = [
    (2, 1, "1"),
    (3, 2, "5/3"),
    (4, 2, "2"),
    (5, 3, "12/5"),
    (6, 3, "8/3"),
    (7, 3, "20/7"),
    (8, 3, "3"),
    (10, 4, "17/5"),
    (12, 4, "11/3"),
    (16, 4, "4"),
    (20, 5, "22/5"),
    (24, 5, "14/3"),
    (32, 5, "5"),
    (100, 7, "6.72"),
]
TEXTBOOK = [45, 13, 12, 16, 9, 5]
REORDERED = [5, 45, 9, 13, 16, 12]
EIGHT = [5, 30, 5, 10, 20, 5, 15, 10]
DOMINANT = [1] * 7 + [57]


def chain(weights: list) -> tuple:
    """Probes between the stages: each tells whether the fault lies beyond it."""
    stages = range(len(weights))
    outcomes = [[int(stage > probe) for probe in stages[:-1]] for stage in stages]
    return optimal_test_tree(weights, outcomes, [1] * (len(weights) - 1))


def any_subset(weights: list) -> tuple:
    """Every way to halve the stages is a test."""
    subsets = range(1, 2 ** (len(weights) - 1))
    outcomes = [[s >> stage & 1 for s in subsets] for stage in range(len(weights))]
    return optimal_test_tree(weights, outcomes, [1] * len(subsets))


@pytest.mark.slow
@pytest.mark.parametrize(("stages", "worst", "mean"), TABLE)
def test_equal_stages_are_halved(stages: int, worst: int, mean: str) -> None:
    cost, tree = chain([Fraction(1, stages)] * stages)
    assert cost == Fraction(mean)
    assert max(tree_depths(tree).values()) == worst == ceil(log2(stages))


@pytest.mark.parametrize(
    ("weights", "huffman", "alphabetic"),
    [
        (TEXTBOOK, 224, 224),
        (REORDERED, 224, 250),
        (EIGHT, 275, 300),
        (DOMINANT, 84, 84),
        ([5, 4, 3, 8], 39, 39),
    ],
)
def test_a_chain_is_an_alphabetic_tree_and_free_tests_a_huffman_tree(
    weights: list[int], huffman: int, alphabetic: int
) -> None:
    assert any_subset(weights)[0] == huffman
    assert chain(weights)[0] == alphabetic


def test_a_chain_of_unequal_stages_is_first_probed_at_half_its_probability() -> None:
    assert chain(REORDERED)[1].test == 1


def test_probes_with_three_outcomes_make_the_optimal_search_tree() -> None:
    keys, gaps = [15, 10, 5, 10, 20], [5, 10, 5, 5, 5, 10]
    places = [2 * g for g in range(6)] + [2 * k + 1 for k in range(5)]
    probes = [2 * k + 1 for k in range(5)]
    outcomes = [[(at > probe) - (at < probe) for probe in probes] for at in places]
    cost, tree = optimal_test_tree(gaps + keys, outcomes, [1] * 5)
    assert cost + sum(gaps) == 275
    assert tree.test == 1
