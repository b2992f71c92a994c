"""In which order to try repairs when nothing more is to be tested.

When exactly one candidate is at fault and each is paid for in turn until the trouble is
gone, the order of decreasing probability per cost is the cheapest: J. Kalagnanam and
M. Henrion (1988), "A comparison of decision analysis and expert rules for sequential
diagnosis". Where changes of set-up or sets of faults come in, the same greedy order is a
plan that works, though no longer always the cheapest one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.decision.belief import BeliefStates, product, start
from diagnose.decision.problem import DecisionProblem
from diagnose.record import record
from diagnose.tolerances import NEGLIGIBLE_OUTCOME, REPAIR_STEPS


def p_over_c(probability: Sequence[float], cost: Sequence[float]) -> list[int]:
    """Candidates by decreasing probability per cost, ties in the order given.

    >>> p_over_c([0.35, 0.20, 0.20, 0.15, 0.10], [4, 1, 9, 12, 5])
    [1, 0, 2, 4, 3]
    """

    def ratio(i: int) -> float:
        return probability[i] / cost[i] if cost[i] > 0 else np.inf

    return sorted(range(len(cost)), key=ratio, reverse=True)


def expected_cost(
    order: Sequence[int], cost: Sequence[float], still_bad: Callable[[Sequence[int]], float]
) -> float:
    """Σ cost × P(still bad before it), for any world.

    Parameters
    ----------
    still_bad: probability that something is wrong after the candidates given were put right.

    >>> p = [0.9, 0.1]
    >>> expected_cost([0, 1], [10, 5], lambda done: 1 - sum(p[i] for i in done))
    10.5
    """
    return sum(cost[one] * still_bad(order[:place]) for place, one in enumerate(order))


def inspection_order(
    probability: Sequence[float], cost: Sequence[float], infer_last: bool
) -> list[int]:
    """The cheapest order in which to inspect candidates of which exactly one is at fault.

    With ``infer_last`` the last one is not inspected: all others found good, it must be the
    one. Then plain probability per cost may lose, so each is tried as the last one.

    >>> inspection_order([0.9, 0.1], [10, 5], infer_last=False)
    [0, 1]
    >>> inspection_order([0.9, 0.1], [10, 5], infer_last=True)
    [1, 0]
    """
    order = p_over_c(probability, cost)
    if not infer_last:
        return order
    free = [[*(i for i in order if i != last), last] for last in order]
    return min(free, key=lambda one: _sequential(one[:-1], probability, cost))


def _sequential(order: Sequence[int], probability: Sequence[float], cost: Sequence[float]) -> float:
    whole = sum(probability)
    return expected_cost(order, cost, lambda done: whole - sum(probability[i] for i in done))


@record
class RepairPlan:
    """Repairs to be tried in turn until a proof passes, then the last resort.

    Parameters
    ----------
    order: numbers of the repairs to be tried, in order.
    minutes: expected minutes of it all.
    cutoff: how many repairs are tried before the last resort.
    """

    order: tuple[int, ...]
    minutes: float
    cutoff: int


def repair_order(problem: DecisionProblem, belief: Floats, setup: int) -> RepairPlan:
    """The greedy plan of repairs for one belief (H), cut off where the last resort is cheaper.

    An invented car that will not start: battery, fuel, ignition, starter or plugs. Each is paid
    for until one works: 1 + 0.8 × 4 + 0.45 × 9 + 0.25 × 5 + 0.15 × 12.

    >>> from diagnose.decision.problem import ANY, Repair
    >>> each = enumerate([4.0, 1.0, 9.0, 12.0, 5.0])
    >>> repairs = tuple(Repair(str(i), cost, ANY, np.eye(5)[i], 0.0, ANY) for i, cost in each)
    >>> prior = np.array([0.35, 0.20, 0.20, 0.15, 0.10])
    >>> found = repair_order(DecisionProblem(prior, (), repairs, np.zeros((1, 1)), np.inf),
    ...     prior, 0)
    >>> found.order, round(found.minutes, 6)
    ((1, 0, 2, 4, 3), 11.3)
    """
    return plan_repairs(problem, start(problem, belief, setup))


def plan_repairs(problem: DecisionProblem, situation: BeliefStates) -> RepairPlan:
    """The same in any one situation.

    >>> from diagnose.decision.problem import ANY, Repair
    >>> hose = Repair("hose", 9.0, ANY, np.array([1.0, 0.0]), 1.0, ANY)
    >>> valve = Repair("valve", 39.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
    >>> problem = DecisionProblem(np.array([0.75, 0.25]), (), (hose, valve), np.zeros((1, 1)), 20.0)
    >>> plan_repairs(problem, start(problem, problem.prior / 2, 0))
    RepairPlan(order=(0,), minutes=15.0, cutoff=1)
    """
    order, minutes = _plans(problem, situation)
    cutoff = int(np.argmin(minutes[0]))
    whole = max(float(situation.mass[0]), np.finfo(float).tiny)
    return RepairPlan(tuple(order[0, :cutoff].tolist()), float(minutes[0, cutoff]) / whole, cutoff)


def repair_minutes(problem: DecisionProblem, beliefs: Floats, setup: int) -> Floats:
    """(B) expected minutes of each belief's plan, times its mass; beliefs (B, H).

    >>> from diagnose.decision.problem import ANY, Repair
    >>> hose = Repair("hose", 9.0, ANY, np.array([1.0, 0.0]), 1.0, ANY)
    >>> valve = Repair("valve", 19.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
    >>> problem = DecisionProblem(np.array([0.75, 0.25]), (), (hose, valve), np.zeros((1, 1)), 60.0)
    >>> repair_minutes(problem, np.array([[0.75, 0.25], [0.0, 0.25]]), setup=0).tolist()
    [15.0, 5.0]
    """
    return plan_minutes(problem, start(problem, beliefs, setup))


def plan_minutes(problem: DecisionProblem, situations: BeliefStates) -> Floats:
    """(B) the same in any situations.

    >>> from diagnose.decision.problem import ANY, Repair
    >>> from diagnose.decision.belief import repaired
    >>> hose = Repair("hose", 9.0, ANY, np.array([0.5]), 1.0, ANY)
    >>> problem = DecisionProblem(np.ones(1), (), (hose,), np.zeros((1, 1)), 60.0)
    >>> here = start(problem, problem.prior, 0)
    >>> plan_minutes(problem, here), plan_minutes(problem, repaired(problem, here, np.array([0])))
    (array([40.]), array([30.]))
    """
    best: Floats = _plans(problem, situations)[1].min(axis=1)
    return best


def clearing_rates(problem: DecisionProblem, situations: BeliefStates) -> Floats:
    """(B, R) share of the mass that each open repair may clear, per minute.

    >>> from diagnose.decision.problem import ANY, Repair
    >>> hose = Repair("hose", 9.0, ANY, np.array([1.0, 0.0]), 1.0, ANY)
    >>> valve = Repair("valve", 19.0, ANY, np.array([0.0, 0.8]), 1.0, ANY)
    >>> problem = DecisionProblem(np.array([0.75, 0.25]), (), (hose, valve), np.zeros((1, 1)), 60.0)
    >>> clearing_rates(problem, start(problem, problem.prior, 0)).round(6).tolist()
    [[0.075, 0.01]]
    """
    minutes = np.maximum(problem.repair_minutes[situations.setup], NEGLIGIBLE_OUTCOME)
    shares = _alone(problem, situations) + _shared(problem, situations)
    rate: Floats = shares * situations.repairs / minutes
    return rate


def _plans(problem: DecisionProblem, situations: BeliefStates) -> tuple[Ints, Floats]:
    """(B, R) repairs by decreasing share per minute; (B, R + 1) minutes by cut-off, times mass."""
    alone = _alone(problem, situations)
    gain = alone + _shared(problem, situations)
    gain[~situations.repairs] = -1.0
    order = _order(problem, gain, situations.setup)
    alone[~situations.repairs] = 0.0
    restored = np.take_along_axis(alone, order, axis=1)
    if len(problem.several[0]):
        restored += _by_the_last(problem, situations, order)
    if problem.either.any():
        restored -= _done_before(problem, situations, order)
    return order, _minutes(problem, situations, order, restored)


def _alone(problem: DecisionProblem, situations: BeliefStates) -> Floats:
    """(B, R) mass that a repair makes well where nothing else is needed."""
    many = problem.several[0]
    viable = situations.viable
    if len(many):
        viable = viable.copy()
        viable[:, many] = 0.0
    return product(viable, problem.fixes)


def _shared(problem: DecisionProblem, situations: BeliefStates) -> Floats | float:
    """(B, R) mass of sets of faults, shared out evenly among the repairs that they still need."""
    many = problem.several[0]
    if not len(many):
        return 0.0
    needed = np.maximum(product(situations.repairs, problem.needs[many].T), 1.0)
    return product(situations.viable[:, many] / needed, problem.fixes[many])


def _order(problem: DecisionProblem, gain: Floats, setup: Ints) -> Ints:
    homes = problem.repair_setups
    if homes.size and (homes == homes[0, 0]).all():
        return _sorted_order(problem, gain, setup, int(homes[0, 0]))
    return _stepwise_order(problem, gain, setup)


def _sorted_order(problem: DecisionProblem, gain: Floats, setup: Ints, home: int) -> Ints:
    """The order when every proof leaves the same set-up: only the first step is special."""
    inverse = 1.0 / np.maximum(problem.repair_minutes, NEGLIGIBLE_OUTCOME)
    ratio = gain * inverse[home]
    elsewhere = np.flatnonzero(setup != home)
    first = np.argmax(gain[elsewhere] * inverse[setup[elsewhere]], axis=1)
    ratio[elsewhere, first] = np.inf
    return np.argsort(-ratio, axis=1)


def _stepwise_order(problem: DecisionProblem, gain: Floats, setup: Ints) -> Ints:
    """The order when each step changes what the next ones cost, for the first `REPAIR_STEPS`."""
    inverse = 1.0 / np.maximum(problem.repair_minutes, NEGLIGIBLE_OUTCOME)
    rows = np.arange(len(gain))
    order = np.empty(gain.shape, dtype=np.intp)
    left = gain.copy()
    steps = min(REPAIR_STEPS, gain.shape[1])
    for step in range(steps):
        best = np.argmax(left * inverse[setup], axis=1)
        order[:, step] = best
        setup = problem.repair_setups[setup, best]
        left[rows, best] = -np.inf
    order[:, steps:] = np.argsort(-left * inverse[setup], axis=1)[:, : gain.shape[1] - steps]
    return order


def _minutes(
    problem: DecisionProblem, situations: BeliefStates, order: Ints, restored: Floats
) -> Floats:
    """(B, R + 1) expected minutes, times the mass, when handing over after so many repairs."""
    mass = situations.mass
    still = np.maximum(mass[:, None] - np.cumsum(restored, axis=1), 0.0)
    still[still <= NEGLIGIBLE_OUTCOME * 10 * mass[:, None]] = 0.0
    before = np.concatenate([mass[:, None], still], axis=1)
    cost = problem.repair_minutes[_before(problem, situations.setup, order), order]
    spent = np.zeros_like(before)
    np.cumsum(cost * before[:, :-1], axis=1, out=spent[:, 1:])
    handed_over = np.multiply(before, problem.last_resort, where=before > 0, out=before)
    spent += handed_over
    done = ~np.take_along_axis(situations.repairs, order, axis=1)
    spent[:, 1:][done] = np.inf
    return spent


def _before(problem: DecisionProblem, setup: Ints, order: Ints) -> Ints:
    """(B, R) the set-up in which each repair of an order begins."""
    begins = np.empty(order.shape, dtype=np.intp)
    ends = problem.repair_setups
    if (ends == ends[:1]).all():
        begins[:, :1] = setup[:, None]
        begins[:, 1:] = ends[0, order[:, :-1]]
        return begins
    for step in range(order.shape[1]):
        begins[:, step] = setup
        setup = ends[setup, order[:, step]]
    return begins


def _done_before(problem: DecisionProblem, situations: BeliefStates, order: Ints) -> Floats:
    """(B, R) mass that a repair finds restored by an earlier alternative already.

    `_alone` counts every alternative as if it were the only one.
    """
    many, needs, chances = problem.alternatives
    count, repairs = order.shape
    place = np.empty_like(order)
    np.put_along_axis(place, order, np.arange(repairs)[None], axis=1)
    places = place[:, needs]
    chance = np.where(situations.repairs[:, needs], chances, 0.0)
    sequence = np.argsort(places, axis=2)
    chance = np.take_along_axis(chance, sequence, axis=2)
    places = np.take_along_axis(places, sequence, axis=2)
    before = np.ones_like(chance)
    np.cumprod(1 - chance[:, :, :-1], axis=2, out=before[:, :, 1:])
    excess = situations.viable[:, many, None] * chance * (1 - before)
    cell = places + (np.arange(count) * repairs)[:, None, None]
    found = np.bincount(cell.ravel(), excess.ravel(), count * repairs)
    return found.reshape(count, repairs).astype(float, copy=False)


def _by_the_last(problem: DecisionProblem, situations: BeliefStates, order: Ints) -> Floats:
    """(B, R) mass of sets of faults, at the place of the last repair that they need."""
    many, needs, chances = problem.several
    count, repairs = order.shape
    place = np.empty_like(order)
    np.put_along_axis(place, order, np.arange(repairs)[None], axis=1)
    place[~situations.repairs] = 0
    weight = situations.viable[:, many]
    last = place[:, needs[:, 0]]
    for which, chance in zip(needs.T, chances.T, strict=True):
        np.maximum(last, place[:, which], out=last)
        weight *= np.where(situations.repairs[:, which], chance, 1.0)
    cell = last + np.arange(count)[:, None] * repairs
    found = np.bincount(cell.ravel(), weight.ravel(), count * repairs)
    return found.reshape(count, repairs).astype(float, copy=False)
