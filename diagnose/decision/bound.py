"""A lower bound on what is still to be spent: what a perfect diagnosis would leave to do.

LB(b) = Σ b_h × the cheapest way to restore h once it is known. No plan can beat it, since a
plan that knows less can do no better.
"""

from __future__ import annotations

import numpy as np

from diagnose.decision.problem import ANY, Floats, Problem
from diagnose.decision.situation import NEGLIGIBLE, Situations, product


class Bound:
    """Lower bounds for the situations of one problem."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.work = _least_work(problem)
        with np.errstate(divide="ignore"):
            self.log_chance = np.where(problem.needs > 0, np.log(problem.fixes), 0.0)
        self.arrival = _arrivals(problem)

    def minutes(self, situations: Situations) -> Floats:
        """(B) lower bound of expected minutes, times the mass.

        >>> from diagnose.decision.problem import Repair
        >>> from diagnose.decision.situation import start
        >>> hose = Repair("hose", 9.0, ANY, np.array([1.0, 0.0]), 1.0, ANY)
        >>> valve = Repair("valve", 19.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
        >>> problem = Problem(np.array([0.75, 0.25]), (), (hose, valve), np.zeros((1, 1)), 60.0)
        >>> Bound(problem).minutes(start(problem, problem.prior, 0)).tolist()
        [12.5]
        """
        found: Floats = self.by_setup(situations)[np.arange(len(situations)), situations.setup]
        return found

    def by_setup(self, situations: Situations) -> Floats:
        """(B, S) the same, were the set-up another one.

        >>> from diagnose.decision.problem import Repair
        >>> from diagnose.decision.situation import start
        >>> hose = Repair("hose", 9.0, 1, np.array([0.75]), 1.0, ANY)
        >>> problem = Problem(np.ones(1), (), (hose,), np.array([[0.0, 5.0], [4.0, 0.0]]), 60.0)
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
        lost[lost <= NEGLIGIBLE * situations.mass] = 0.0
        found = np.empty((len(viable), len(self.arrival)))
        for setup, arrival in enumerate(self.arrival):
            found[:, setup] = (viable * np.minimum(work + arrival, last)).sum(axis=1)
        found += np.multiply(lost, last, out=np.zeros_like(lost), where=lost > 0)[:, None]
        return found

    def _alternatives(self, situations: Situations, work: Floats, fails: Floats) -> None:
        """Write over what hypotheses with alternatives need at least: the cheapest of them."""
        many, needs, chances = self.problem.alternatives
        left = situations.repairs[:, needs]
        cheapest = np.where(left & (chances > 0), self.work[needs], np.inf).min(axis=2)
        work[:, many] = np.where(np.isfinite(cheapest), cheapest, 0.0)
        fails[:, many] = np.where(left, 1 - chances, 1.0).prod(axis=2)


def _least_work(problem: Problem) -> Floats:
    """(R) minutes of each repair and its proof from the set-up in which they take least."""
    work = np.array([one.minutes + one.proof_minutes for one in problem.repairs], dtype=float)
    least: Floats = work + problem.changes[problem.at_work, problem.repair_setups].min(axis=0)
    return least


def _arrivals(problem: Problem) -> Floats:
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
