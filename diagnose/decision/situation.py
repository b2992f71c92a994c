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
        """(B) probability of being here, something still wrong."""
        mass: Floats = self.belief.sum(axis=1)
        return mass

    def at(self, which: Ints | Bools | slice) -> Situations:
        """Some of the situations."""
        return Situations(
            self.belief[which],
            self.viable[which],
            self.tests[which],
            self.repairs[which],
            self.setup[which],
        )


def start(problem: Problem, beliefs: Floats, setup: int) -> Situations:
    """Situations in which nothing has been done, one for each row of ``beliefs`` (B, H)."""
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
    """What is left wrong when the proof after repair ``repair[b]`` fails in situation b."""
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
