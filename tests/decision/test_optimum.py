"""Decisions against the optimum of a full dynamic programme over histories."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from diagnose.decision.lookahead import Decision, decide
from diagnose.decision.problem import DecisionProblem
from diagnose.decision.repair_order import repair_order
from tests.decision.oracle import optimum
from tests.decision.worlds import random_problem
from tests.oracles.policy import policy_tree, tree_minutes

SEEDS = range(40)


@cache
def world(seed: int) -> tuple[DecisionProblem, float]:
    problem = random_problem(seed, 4 + seed % 2)
    return problem, optimum(problem, 0)


def decided(problem: DecisionProblem, depth: int, width: int = 8) -> Decision:
    return decide(problem, problem.prior, 0, depth=depth, width=width)


@pytest.mark.slow
@pytest.mark.parametrize("seed", SEEDS)
def test_looking_ahead_to_the_end_finds_the_optimum(seed: int) -> None:
    problem, least = world(seed)
    found = decided(problem, 6, 99)
    assert found.exact
    assert found.value == pytest.approx(least, rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("depth", [1, 2, 3])
def test_no_value_is_below_the_optimum_and_no_bound_above(seed: int, depth: int) -> None:
    problem, least = world(seed)
    found = decided(problem, depth)
    assert found.lower <= least + 1e-9
    assert found.value >= least - 1e-9
    assert not found.exact or found.value == pytest.approx(least, rel=1e-9)


def test_two_acts_ahead_are_within_five_per_cent_on_average() -> None:
    ratios = [decided(world(seed)[0], 2).value / world(seed)[1] for seed in SEEDS]
    assert np.mean(ratios) <= 1.05


@pytest.mark.parametrize("seed", SEEDS)
def test_looking_further_is_never_worse(seed: int) -> None:
    problem, _ = world(seed)
    values = [decided(problem, depth).value for depth in (1, 2, 3)]
    assert values == sorted(values, reverse=True)
    assert values[0] <= repair_order(problem, problem.prior, 0).minutes + 1e-9


@pytest.mark.parametrize("seed", SEEDS[:20])
@pytest.mark.parametrize("depth", [1, 2])
def test_the_tree_costs_no_more_than_its_first_decision_promised(seed: int, depth: int) -> None:
    problem, least = world(seed)
    tree = policy_tree(problem, problem.prior, 0, depth=depth, least=0.0)
    assert least - 1e-9 <= tree_minutes(tree) <= decided(problem, depth).value + 1e-9


@pytest.mark.parametrize("seed", SEEDS[:20])
def test_the_tree_of_exact_decisions_is_the_optimum(seed: int) -> None:
    problem, least = world(seed)
    tree = policy_tree(problem, problem.prior, 0, depth=6, width=99, least=0.0)
    assert tree_minutes(tree) == pytest.approx(least, rel=1e-9)


def test_a_tree_that_plans_rare_turns_briefly_still_ends_well() -> None:
    for seed in SEEDS:
        problem, least = world(seed)
        brief = tree_minutes(policy_tree(problem, problem.prior, 0, least=0.5))
        repairs = repair_order(problem, problem.prior, 0).minutes
        assert least - 1e-9 <= brief <= repairs + 1e-9


def test_without_time_there_is_still_an_answer() -> None:
    problem, _ = world(3)
    hasty = decide(problem, problem.prior, 0, depth=6, seconds=0.0)
    assert hasty.depth_reached == 1
    assert hasty.value == decided(problem, 1).value


def test_every_act_is_ranked_best_first() -> None:
    problem, _ = world(0)
    found = decided(problem, 2)
    values = [one.value for one in found.ranked]
    assert values == sorted(values)
    assert len(values) == 3 + 3 + 1
    assert (found.act, found.value) == (found.ranked[0].act, found.ranked[0].value)


def test_isolating_ranks_by_bits_per_minute_and_stops_when_nothing_tells() -> None:
    problem, _ = world(0)
    assert decide(problem, problem.prior, 0, goal="isolate").act.kind == "test"
    known = np.eye(len(problem.prior))[0]
    assert decide(problem, known, 0, goal="isolate").act.kind == "stop"


def test_what_no_repair_can_restore_is_handed_over() -> None:
    problem, _ = world(0)
    none = replace(problem, repairs=())
    found = decided(none, 3)
    assert found.act.kind == "last resort"
    assert found.exact
    assert found.value == found.lower == problem.last_resort
