"""Belief states of a finite troubleshooting problem: update, value of information, lower bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.arrays import Bools, Floats, Ints
from diagnose.decision.problem import ANY, DecisionProblem
from diagnose.tolerances import NEGLIGIBLE_OUTCOME, UNTHREADED


def product(left: Floats | Bools, right: Floats) -> Floats:
    """``left @ right`` in blocks of rows that are too small to be spread over threads.

    Waking threads takes longer than such products do, much longer on a busy machine.

    >>> product(np.array([[1.0, 2.0], [3.0, 4.0]]), np.array([[1.0], [10.0]])).tolist()
    [[21.0], [43.0]]
    """
    found = np.empty((len(left), right.shape[1]))
    rows = max(1, UNTHREADED // max(right.size, 1))
    for begin in range(0, len(left), rows):
        found[begin : begin + rows] = left[begin : begin + rows] @ right
    return found


@dataclass(frozen=True, eq=False)
class BeliefStates:
    """B situations.

    Parameters
    ----------
    belief: (B, H) mass of each hypothesis, not yet restored.
    viable: (B, H) the part of it whose repairs so far have worked; the rest needs the last resort.
    tests: (B, T) tests still to be had. A test is done at most once.
    repairs: (B, R) repairs still to be had. A repair is done at most once.
    setup: (B) the set-up state.
    """

    belief: Floats
    viable: Floats
    tests: Bools
    repairs: Bools
    setup: Ints

    def __len__(self) -> int:
        return len(self.belief)

    @property
    def mass(self) -> Floats:
        """(B) probability of being here, something still wrong.

        >>> problem = DecisionProblem(np.array([0.5, 0.5]), (), (), np.zeros((1, 1)), 60.0)
        >>> start(problem, np.array([[0.5, 0.25], [0.0, 0.25]]), 0).mass.tolist()
        [0.75, 0.25]
        """
        mass: Floats = self.belief.sum(axis=1)
        return mass

    def at(self, which: Ints | Bools | slice) -> BeliefStates:
        """Some of the situations.

        >>> problem = DecisionProblem(np.array([0.5, 0.5]), (), (), np.zeros((1, 1)), 60.0)
        >>> both = start(problem, np.array([[0.5, 0.25], [0.0, 0.25]]), 0)
        >>> both.at(np.array([1])).belief.tolist()
        [[0.0, 0.25]]
        """
        return BeliefStates(
            self.belief[which],
            self.viable[which],
            self.tests[which],
            self.repairs[which],
            self.setup[which],
        )


def start(problem: DecisionProblem, beliefs: Floats, setup: int) -> BeliefStates:
    """Situations in which nothing has been done, one for each row of ``beliefs`` (B, H).

    What no repair is for can only be handed over, so nothing of it is viable.

    >>> from diagnose.decision.problem import ANY, Repair
    >>> hose = Repair("hose", 9.0, ANY, np.array([0.75, 0.0]), 1.0, ANY)
    >>> problem = DecisionProblem(np.array([0.5, 0.5]), (), (hose,), np.zeros((1, 1)), 60.0)
    >>> start(problem, problem.prior, 0).viable.tolist()
    [[0.5, 0.0]]
    """
    beliefs = np.atleast_2d(beliefs)
    count = len(beliefs)
    return BeliefStates(
        beliefs,
        np.where(problem.needs.any(axis=1), beliefs, 0.0),
        np.ones((count, len(problem.tests)), dtype=bool),
        np.ones((count, len(problem.repairs)), dtype=bool),
        np.full(count, setup, dtype=np.intp),
    )


def tested(
    problem: DecisionProblem, before: BeliefStates, test: Ints
) -> tuple[BeliefStates, Ints, Ints]:
    """Every outcome that can come of test ``test[b]`` in situation b.

    Returns
    -------
    The situations, and for each of them the number b and the number of the outcome.

    >>> from diagnose.decision.problem import ANY, Test
    >>> look = Test("look", 1.0, ANY, np.array([[0.75, 0.25], [0.0, 1.0]]))
    >>> problem = DecisionProblem(np.array([0.5, 0.5]), (look,), (), np.zeros((1, 1)), 60.0)
    >>> after, origin, outcome = tested(problem, start(problem, problem.prior, 0), np.array([0]))
    >>> after.belief.tolist(), origin.tolist(), outcome.tolist(), after.tests.tolist()
    ([[0.375, 0.0], [0.125, 0.5]], [0, 0], [0, 1], [[False], [False]])
    """
    chance = problem.likelihood[test]
    belief = before.belief[:, None, :] * chance
    mass = belief.sum(axis=2)
    possible = mass > NEGLIGIBLE_OUTCOME * before.mass[:, None]
    origin, outcome = np.nonzero(possible)
    viable = (before.viable[:, None, :] * chance)[possible]
    left = before.tests.copy()
    left[np.arange(len(before)), test] = False
    setup = problem.test_setups[before.setup, test]
    after = BeliefStates(
        belief[possible], viable, left[origin], before.repairs[origin], setup[origin]
    )
    return after, origin, outcome


def repaired(problem: DecisionProblem, before: BeliefStates, repair: Ints) -> BeliefStates:
    """What is left wrong when the proof after repair ``repair[b]`` fails in situation b.

    >>> from diagnose.decision.problem import ANY, Repair
    >>> hose = Repair("hose", 9.0, ANY, np.array([0.75, 0.5]), 1.0, ANY)
    >>> valve = Repair("valve", 9.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
    >>> problem = DecisionProblem(np.array([0.5, 0.5]), (), (hose, valve), np.zeros((1, 1)), 60.0)
    >>> failed = repaired(problem, start(problem, problem.prior, 0), np.array([0]))
    >>> failed.belief.tolist(), failed.viable.tolist(), failed.repairs.tolist()
    ([[0.125, 0.5]], [[0.0, 0.25]], [[False, True]])
    """
    left = before.repairs.copy()
    left[np.arange(len(before)), repair] = False
    needed = problem.needs[:, repair].T > 0
    viable = before.viable * np.where(needed, problem.fixes[:, repair].T, 1.0)
    complete = needed & ~(product(left, problem.needs.T) > 0)
    either = needed & problem.either
    complete |= either
    remaining = np.where(either, np.maximum(before.viable - viable, 0.0), 0.0)
    return BeliefStates(
        np.maximum(before.belief - np.where(complete, viable, 0.0), 0.0),
        np.where(complete, remaining, viable),
        before.tests,
        left,
        problem.repair_setups[before.setup, repair],
    )


def entropy(probability: Floats) -> Floats:
    """Bits of the distributions along the last axis; they need not be normalised.

    >>> float(entropy(np.array([0.5, 0.25, 0.25]))), float(entropy(np.array([2.0, 1.0, 1.0])))
    (1.5, 1.5)
    >>> float(entropy(np.zeros(3)))  # of what cannot be
    0.0
    """
    whole = probability.sum(axis=-1)
    safe = np.where(whole > 0, whole, 1.0)
    plogp = (probability * np.log2(np.where(probability > 0, probability, 1.0))).sum(axis=-1)
    bits: Floats = np.maximum(np.log2(safe) - plogp / safe, 0.0)
    return bits


def information(problem: DecisionProblem, beliefs: Floats) -> Floats:
    """(B, T) bits that each test is expected to tell about the hypotheses; beliefs (B, H).

    The mutual information H(outcome) − H(outcome | hypothesis), which needs no posterior.

    >>> from diagnose.decision.problem import ANY, Test
    >>> tests = Test("sure", 1.0, ANY, np.eye(2)), Test("blind", 1.0, ANY, np.full((2, 2), 0.5))
    >>> problem = DecisionProblem(np.array([0.5, 0.5]), tests, (), np.zeros((1, 1)), 60.0)
    >>> information(problem, np.array([[0.25, 0.25], [0.5, 0.0]])).tolist()
    [[1.0, 0.0], [0.0, 0.0]]
    """
    tests, outcomes, count = problem.likelihood.shape
    flat = problem.likelihood.reshape(tests * outcomes, count)
    weight = beliefs / np.maximum(beliefs.sum(axis=1, keepdims=True), np.finfo(float).tiny)
    chance = product(weight, flat.T).reshape(len(beliefs), tests, outcomes)
    noise = product(weight, problem.noise.T)
    bits: Floats = np.maximum(entropy(chance) - noise, 0.0)
    return bits


def information_gain(problem: DecisionProblem, belief: Floats) -> Floats:
    """(T) bits that each test is expected to tell, for one belief (H).

    The probes X, Y and Z of J. de Kleer and B. C. Williams (1987), "Diagnosing multiple faults",
    while A1, M1, A2 with M2, or M2 with M3 are at fault. Outcomes are sure, so each probe tells
    their entropy: that of 0.495 to 0.505, of 0.01 to 0.99, of 0.005 to 0.995.

    >>> from diagnose.decision.problem import ANY, Test
    >>> probes = {"X": [0, 1, 0, 0], "Y": [0, 0, 1, 1], "Z": [0, 0, 0, 1]}
    >>> tests = tuple(Test(id, 1.0, ANY, np.eye(2)[seen]) for id, seen in probes.items())
    >>> belief = np.array([0.495, 0.495, 0.005, 0.005])
    >>> problem = DecisionProblem(belief, tests, (), np.zeros((1, 1)), 60.0)
    >>> information_gain(problem, belief).round(6).tolist()
    [0.999928, 0.080793, 0.045415]
    """
    gain: Floats = information(problem, belief[None])[0]
    return gain


def bits_per_minute(problem: DecisionProblem, belief: Floats, setup: int) -> Floats:
    """(T) bits per minute, the change of set-up included.

    >>> from diagnose.decision.problem import ANY, Test
    >>> tests = Test("here", 4.0, ANY, np.eye(2)), Test("there", 5.0, 1, np.eye(2))
    >>> problem = DecisionProblem(np.array([0.5, 0.5]), tests, (), np.array([[0.0, 3.0], [3.0,
    ...     0.0]]), 60.0)
    >>> bits_per_minute(problem, problem.prior, setup=0).tolist()
    [0.25, 0.125]
    """
    rate: Floats = rates(problem, start(problem, belief, setup))[0]
    return rate


def rates(problem: DecisionProblem, situations: BeliefStates) -> Floats:
    """(B, T) bits per minute in any situations; 0 for tests that were done.

    >>> from diagnose.decision.problem import ANY, Test
    >>> from diagnose.decision.belief import tested
    >>> vague = Test("vague", 2.0, ANY, np.array([[0.5, 0.0, 0.5], [0.0, 0.5, 0.5]]))
    >>> problem = DecisionProblem(np.array([0.5, 0.5]), (vague,), (), np.zeros((1, 1)), 60.0)
    >>> here = start(problem, problem.prior, 0)
    >>> after, _, _ = tested(problem, here, np.array([0]))
    >>> rates(problem, here).tolist(), rates(problem, after).tolist()
    ([[0.25]], [[0.0], [0.0], [0.0]])
    """
    minutes = np.maximum(problem.test_minutes[situations.setup], 1e-9)
    bits = information(problem, situations.belief)
    bits[bits < 1e-12] = 0.0
    rate: Floats = bits * situations.tests / minutes
    return rate


class Bound:
    """Lower bounds for the situations of one problem."""

    def __init__(self, problem: DecisionProblem) -> None:
        self.problem = problem
        self.work = _least_work(problem)
        with np.errstate(divide="ignore"):
            self.log_chance = np.where(problem.needs > 0, np.log(problem.fixes), 0.0)
        self.arrival = _arrivals(problem)

    def minutes(self, situations: BeliefStates) -> Floats:
        """(B) lower bound of expected minutes, times the mass.

        >>> from diagnose.decision.problem import Repair
        >>> from diagnose.decision.belief import start
        >>> hose = Repair("hose", 9.0, ANY, np.array([1.0, 0.0]), 1.0, ANY)
        >>> valve = Repair("valve", 19.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
        >>> problem = DecisionProblem(np.array([0.75, 0.25]), (), (hose, valve), np.zeros((1,
        ...     1)), 60.0)
        >>> Bound(problem).minutes(start(problem, problem.prior, 0)).tolist()
        [12.5]
        """
        found: Floats = self.by_setup(situations)[np.arange(len(situations)), situations.setup]
        return found

    def by_setup(self, situations: BeliefStates) -> Floats:
        """(B, S) the same, were the set-up another one.

        >>> from diagnose.decision.problem import Repair
        >>> from diagnose.decision.belief import start
        >>> hose = Repair("hose", 9.0, 1, np.array([0.75]), 1.0, ANY)
        >>> problem = DecisionProblem(np.ones(1), (), (hose,), np.array([[0.0, 5.0], [4.0,
        ...     0.0]]), 60.0)
        >>> Bound(problem).by_setup(start(problem, problem.prior, 0)).round(6).tolist()
        [[30.0, 25.0]]
        """
        last, viable = self.problem.last_resort, situations.viable
        left = situations.repairs.astype(float)
        work = product(left * self.work, self.problem.needs.T)
        fails = -np.expm1(product(left, self.log_chance.T))
        if self.problem.either.any():
            self._alternatives(situations, work, fails)
        work += np.multiply(fails, last, out=np.zeros_like(fails), where=fails > 0)
        lost = np.maximum(situations.belief - viable, 0.0).sum(axis=1)
        lost[lost <= NEGLIGIBLE_OUTCOME * situations.mass] = 0.0
        found = np.empty((len(viable), len(self.arrival)))
        for setup, arrival in enumerate(self.arrival):
            found[:, setup] = (viable * np.minimum(work + arrival, last)).sum(axis=1)
        found += np.multiply(lost, last, out=np.zeros_like(lost), where=lost > 0)[:, None]
        return found

    def _alternatives(self, situations: BeliefStates, work: Floats, fails: Floats) -> None:
        """Write over what hypotheses with alternatives need at least: the cheapest of them."""
        many, needs, chances = self.problem.alternatives
        left = situations.repairs[:, needs]
        cheapest = np.where(left & (chances > 0), self.work[needs], np.inf).min(axis=2)
        work[:, many] = np.where(np.isfinite(cheapest), cheapest, 0.0)
        fails[:, many] = np.where(left, 1 - chances, 1.0).prod(axis=2)


def _least_work(problem: DecisionProblem) -> Floats:
    """(R) minutes of each repair and its proof from the set-up in which they take least."""
    work = np.array([one.minutes + one.proof_minutes for one in problem.repairs], dtype=float)
    least: Floats = work + problem.changes[problem.at_work, problem.repair_setups].min(axis=0)
    return least


def _arrivals(problem: DecisionProblem) -> Floats:
    """(S, H) minutes to reach the nearest set-up that a repair of each hypothesis wants."""
    states = len(problem.change)
    anywhere = np.array([repair.setup == ANY for repair in problem.repairs], dtype=bool)
    first = np.where(anywhere, problem.repair_setups, problem.at_work)
    ways = problem.changes[np.arange(states)[:, None], first]
    nearest = np.zeros((states, len(problem.prior)))
    for h in range(len(problem.prior)):
        needed = problem.needs[h] > 0
        if needed.any():
            nearest[:, h] = ways[:, needed].min(axis=1)
    return nearest
