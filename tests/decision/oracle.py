"""The optimum of a small restoring problem by a full dynamic programme over histories.

Written from the statement of the problem alone: a hypothesis is split into its repair
histories, each with plain Python numbers, and every act is tried at every step.
"""

from __future__ import annotations

from functools import cache

from diagnose.decision.problem import ANY, DecisionProblem

World = tuple[int, frozenset[int] | None, float]
"""A hypothesis, the repairs that it still needs (None once one has failed), and its weight."""


def optimum(problem: DecisionProblem, setup: int) -> float:
    """Least expected minutes until all is well, every test and repair at most once."""
    needs = [
        frozenset(r for r, one in enumerate(problem.repairs) if one.fixes[h] > 0)
        for h in range(len(problem.prior))
    ]
    worlds = tuple((h, needs[h], float(p)) for h, p in enumerate(problem.prior))
    tests, repairs = range(len(problem.tests)), range(len(problem.repairs))
    return _Oracle(problem).least(worlds, setup, frozenset(tests), frozenset(repairs))


class _Oracle:
    def __init__(self, problem: DecisionProblem) -> None:
        self.problem = problem
        self.change = _quickest(problem.change.tolist())
        self.least = cache(self._least)

    def _least(
        self, worlds: tuple[World, ...], setup: int, tests: frozenset, repairs: frozenset
    ) -> float:
        mass = sum(weight for _, _, weight in worlds)
        if mass < 1e-15:
            return 0.0
        return min(
            mass * self.problem.last_resort,
            *(self.test(worlds, setup, tests, repairs, t) for t in tests),
            *(self.repair(worlds, setup, tests, repairs, r) for r in repairs),
            float("inf"),
        )

    def test(
        self, worlds: tuple, setup: int, tests: frozenset, repairs: frozenset, t: int
    ) -> float:
        test = self.problem.tests[t]
        minutes, after = self.travel(setup, test.setup)
        total = (minutes + test.minutes) * sum(weight for _, _, weight in worlds)
        for outcome in range(test.likelihood.shape[1]):
            seen = tuple((h, left, w * float(test.likelihood[h, outcome])) for h, left, w in worlds)
            total += self.least(seen, after, tests - {t}, repairs)
        return total

    def repair(
        self, worlds: tuple, setup: int, tests: frozenset, repairs: frozenset, r: int
    ) -> float:
        repair = self.problem.repairs[r]
        there, at_work = self.travel(setup, repair.setup)
        back, after = self.travel(at_work, repair.proof_setup)
        minutes = there + repair.minutes + back + repair.proof_minutes
        still = tuple(one for world in worlds for one in self.after(world, r))
        cost = minutes * sum(weight for _, _, weight in worlds)
        return cost + self.least(still, after, tests, repairs - {r})

    def after(self, world: World, r: int) -> list[World]:
        """What a failed proof leaves of a world."""
        h, left, weight = world
        if left is None or r not in left:
            return [world]
        chance = float(self.problem.repairs[r].fixes[h])
        failed: list[World] = [(h, None, weight * (1 - chance))]
        return failed if left == {r} else [*failed, (h, left - {r}, weight * chance)]

    def travel(self, before: int, wanted: int) -> tuple[float, int]:
        return (0.0, before) if wanted == ANY else (self.change[before][wanted], wanted)


def _quickest(change: list[list[float]]) -> list[list[float]]:
    """Changes of set-up by way of any others, for two or three set-ups."""
    states = range(len(change))
    return [
        [min(change[a][b], *(change[a][c] + change[c][b] for c in states)) for b in states]
        for a in states
    ]
