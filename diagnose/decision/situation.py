"""Where a troubleshooting may stand, many such places at once, and what one act makes of it.

Probabilities are masses: those of all situations that one act leads to sum to the mass
before it, less what has been restored. So expected minutes simply add up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.decision.problem import Bools, Floats, Ints, Problem

NEGLIGIBLE = 1e-13
"""A share of probability that is rounding error."""


UNTHREADED = 250_000
"""Multiplications that a linear algebra library does without waking its threads."""


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
class Situations:
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

        >>> problem = Problem(np.array([0.5, 0.5]), (), (), np.zeros((1, 1)), 60.0)
        >>> start(problem, np.array([[0.5, 0.25], [0.0, 0.25]]), 0).mass.tolist()
        [0.75, 0.25]
        """
        mass: Floats = self.belief.sum(axis=1)
        return mass

    def at(self, which: Ints | Bools | slice) -> Situations:
        """Some of the situations.

        >>> problem = Problem(np.array([0.5, 0.5]), (), (), np.zeros((1, 1)), 60.0)
        >>> both = start(problem, np.array([[0.5, 0.25], [0.0, 0.25]]), 0)
        >>> both.at(np.array([1])).belief.tolist()
        [[0.0, 0.25]]
        """
        return Situations(
            self.belief[which],
            self.viable[which],
            self.tests[which],
            self.repairs[which],
            self.setup[which],
        )


def start(problem: Problem, beliefs: Floats, setup: int) -> Situations:
    """Situations in which nothing has been done, one for each row of ``beliefs`` (B, H).

    What no repair is for can only be handed over, so nothing of it is viable.

    >>> from diagnose.decision.problem import ANY, Repair
    >>> hose = Repair("hose", 9.0, ANY, np.array([0.75, 0.0]), 1.0, ANY)
    >>> problem = Problem(np.array([0.5, 0.5]), (), (hose,), np.zeros((1, 1)), 60.0)
    >>> start(problem, problem.prior, 0).viable.tolist()
    [[0.5, 0.0]]
    """
    beliefs = np.atleast_2d(beliefs)
    count = len(beliefs)
    return Situations(
        beliefs,
        np.where(problem.needs.any(axis=1), beliefs, 0.0),
        np.ones((count, len(problem.tests)), dtype=bool),
        np.ones((count, len(problem.repairs)), dtype=bool),
        np.full(count, setup, dtype=np.intp),
    )


def tested(problem: Problem, before: Situations, test: Ints) -> tuple[Situations, Ints, Ints]:
    """Every outcome that can come of test ``test[b]`` in situation b.

    Returns
    -------
    The situations, and for each of them the number b and the number of the outcome.

    >>> from diagnose.decision.problem import ANY, Test
    >>> look = Test("look", 1.0, ANY, np.array([[0.75, 0.25], [0.0, 1.0]]))
    >>> problem = Problem(np.array([0.5, 0.5]), (look,), (), np.zeros((1, 1)), 60.0)
    >>> after, origin, outcome = tested(problem, start(problem, problem.prior, 0), np.array([0]))
    >>> after.belief.tolist(), origin.tolist(), outcome.tolist(), after.tests.tolist()
    ([[0.375, 0.0], [0.125, 0.5]], [0, 0], [0, 1], [[False], [False]])
    """
    chance = problem.likelihood[test]
    belief = before.belief[:, None, :] * chance
    mass = belief.sum(axis=2)
    possible = mass > NEGLIGIBLE * before.mass[:, None]
    origin, outcome = np.nonzero(possible)
    viable = (before.viable[:, None, :] * chance)[possible]
    left = before.tests.copy()
    left[np.arange(len(before)), test] = False
    setup = problem.test_setups[before.setup, test]
    after = Situations(
        belief[possible], viable, left[origin], before.repairs[origin], setup[origin]
    )
    return after, origin, outcome


def repaired(problem: Problem, before: Situations, repair: Ints) -> Situations:
    """What is left wrong when the proof after repair ``repair[b]`` fails in situation b.

    >>> from diagnose.decision.problem import ANY, Repair
    >>> hose = Repair("hose", 9.0, ANY, np.array([0.75, 0.5]), 1.0, ANY)
    >>> valve = Repair("valve", 9.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
    >>> problem = Problem(np.array([0.5, 0.5]), (), (hose, valve), np.zeros((1, 1)), 60.0)
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
    return Situations(
        np.maximum(before.belief - np.where(complete, viable, 0.0), 0.0),
        np.where(complete, remaining, viable),
        before.tests,
        left,
        problem.repair_setups[before.setup, repair],
    )
