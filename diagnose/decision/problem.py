"""A finite troubleshooting problem: hypotheses, tests, repairs and set-ups.

Hypotheses exclude one another; a set of faults is one hypothesis. It is well again when
every repair with a chance above 0 for it has been done and has worked. A repair goes
together with its proof, which is taken as perfect: it shows whether all is well.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diagnose import errors
from diagnose.arrays import Bools, Floats, Ints
from diagnose.tolerances import ROUNDING

ANY = -1
"""The set-up of what can be done in any set-up, and that leaves it as it is."""


@dataclass(frozen=True, eq=False)
class Test:
    """Something to look at.

    Parameters
    ----------
    minutes: the work itself, without changing the set-up.
    setup: the set-up state it wants; `ANY` when any will do.
    likelihood: (hypotheses, outcomes) chance of each outcome; rows sum to 1.
    ends: the set-up that it leaves behind; `ANY` when that is the one that it wants.
    """

    __test__ = False

    id: str
    minutes: float
    setup: int
    likelihood: Floats
    ends: int = ANY


@dataclass(frozen=True, eq=False)
class Repair:
    """Something to put right, with the check that proves it.

    Parameters
    ----------
    minutes: work, plus parts converted to minutes.
    fixes: (hypotheses) chance that it clears what it is for; 0 where it is for something else.
    proof_minutes: the check afterwards that shows whether all is well.
    """

    id: str
    minutes: float
    setup: int
    fixes: Floats
    proof_minutes: float
    proof_setup: int


@dataclass(frozen=True, eq=False)
class DecisionProblem:
    """What may be wrong, and what can be done about it.

    Parameters
    ----------
    prior: (H) probability of each hypothesis; sums to 1.
    change: (S, S) minutes from one set-up to another, zero on the diagonal.
    last_resort: minutes of handing over, which restores everything; infinite when there is none.
    landing: (S, S) the set-up that one is really in, by the set-up before and the one wanted, where
        something of the one before lasts. None when that is always the one wanted.
    any_of: (H) whether any one of its repairs restores a hypothesis, so that the others are
        alternatives; otherwise it needs them all. None when there are no alternatives.

    Raises
    ------
    FileProblems: naming everything that does not fit together.

    >>> DecisionProblem(np.array([0.5, 0.75]), (), (), np.zeros((1, 1)), 60.0)
    Traceback (most recent call last):
    diagnose.errors.FileProblems: prior: expected probabilities that sum to 1, got a sum of 1.25
    """

    prior: Floats
    tests: tuple[Test, ...]
    repairs: tuple[Repair, ...]
    change: Floats
    last_resort: float
    any_of: Bools | None = None
    landing: Ints | None = None

    def __post_init__(self) -> None:
        problems = list(_problems(self))
        if problems:
            raise errors.FileProblems(problems)

    @cached_property
    def changes(self) -> Floats:
        """(S, S) minutes between set-ups by the quickest way (Floyd and Warshall).

        >>> change = np.array([[0, 9, 2], [9, 0, 9], [9, 3, 0]])
        >>> DecisionProblem(np.ones(1), (), (), change, 60.0).changes[0].tolist()
        [0.0, 5.0, 2.0]
        """
        quickest = np.array(self.change, dtype=float)
        for via in range(len(quickest)):
            quickest = np.minimum(quickest, quickest[:, via, None] + quickest[None, via])
        return quickest

    @cached_property
    def test_setups(self) -> Ints:
        """(S, T) the set-up after a test, by the set-up before it.

        >>> listen = Test("listen", 2.0, ANY, np.ones((1, 1)))
        >>> press = Test("press", 2.0, 1, np.ones((1, 1)))
        >>> bleed = Test("bleed", 2.0, 1, np.ones((1, 1)), ends=0)
        >>> problem = DecisionProblem(np.ones(1), (listen, press, bleed), (), np.zeros((2, 2)),
        ...     60.0)
        >>> problem.test_setups.tolist()
        [[0, 1, 0], [1, 1, 0]]
        """
        ends = np.array([test.ends for test in self.tests], dtype=np.intp)
        return np.where(ends == ANY, self._during, self._landed(self._during, ends))

    @cached_property
    def _during(self) -> Ints:
        """(S, T) the set-up in which a test is made, by the set-up before it."""
        return self._after(np.array([test.setup for test in self.tests], dtype=np.intp))

    @cached_property
    def test_minutes(self) -> Floats:
        """(S, T) minutes of a test with its change of set-up, by the set-up before it.

        >>> press = Test("press", 2.0, 1, np.ones((1, 1)))
        >>> change = np.array([[0.0, 5.0], [4.0, 0.0]])
        >>> DecisionProblem(np.ones(1), (press,), (), change, 60.0).test_minutes.tolist()
        [[7.0], [2.0]]
        """
        minutes = np.array([test.minutes for test in self.tests], dtype=float)
        return minutes + self.changes[_states(self), self._during]

    @cached_property
    def at_work(self) -> Ints:
        """(S, R) the set-up in which a repair is made, by the set-up before it.

        >>> hose = Repair("hose", 10.0, ANY, np.ones(1), 3.0, 0)
        >>> valve = Repair("valve", 10.0, 1, np.ones(1), 3.0, 0)
        >>> DecisionProblem(np.ones(1), (), (hose, valve), np.zeros((2, 2)), 60.0).at_work.tolist()
        [[0, 1], [1, 1]]
        """
        return self._after(np.array([repair.setup for repair in self.repairs], dtype=np.intp))

    @cached_property
    def repair_setups(self) -> Ints:
        """(S, R) the set-up after a repair and its proof, by the set-up before them.

        >>> hose = Repair("hose", 10.0, 1, np.ones(1), 3.0, ANY)
        >>> valve = Repair("valve", 10.0, 1, np.ones(1), 3.0, 0)
        >>> DecisionProblem(np.ones(1), (), (hose, valve), np.zeros((2, 2)),
        ...     60.0).repair_setups.tolist()
        [[1, 0], [1, 0]]
        """
        at_work = self.at_work
        proof = np.array([repair.proof_setup for repair in self.repairs], dtype=np.intp)
        return np.where(proof == ANY, at_work, self._landed(at_work, proof))

    @cached_property
    def repair_minutes(self) -> Floats:
        """(S, R) minutes of a repair, its proof and both changes, by the set-up before them.

        >>> valve = Repair("valve", 10.0, 1, np.ones(1), 3.0, 0)
        >>> change = np.array([[0.0, 5.0], [4.0, 0.0]])
        >>> DecisionProblem(np.ones(1), (), (valve,), change, 60.0).repair_minutes.tolist()
        [[22.0], [17.0]]
        """
        at_work = self.at_work
        work = np.array([one.minutes + one.proof_minutes for one in self.repairs], dtype=float)
        there = self.changes[_states(self), at_work]
        minutes: Floats = work + there + self.changes[at_work, self.repair_setups]
        return minutes

    @cached_property
    def fixes(self) -> Floats:
        """(H, R) chance that a repair clears its part of a hypothesis.

        >>> hose = Repair("hose", 9.0, ANY, np.array([0.9, 0.0]), 1.0, ANY)
        >>> valve = Repair("valve", 9.0, ANY, np.array([0.8, 1.0]), 1.0, ANY)
        >>> DecisionProblem(np.array([0.5, 0.5]), (), (hose, valve), np.zeros((1, 1)),
        ...     60.0).fixes.tolist()
        [[0.9, 0.8], [0.0, 1.0]]
        """
        columns = [repair.fixes for repair in self.repairs]
        return np.stack(columns, axis=1) if columns else np.zeros((len(self.prior), 0))

    @cached_property
    def needs(self) -> Floats:
        """(H, R) 1 where a hypothesis needs a repair, else 0.

        >>> hose = Repair("hose", 9.0, ANY, np.array([0.9, 0.0]), 1.0, ANY)
        >>> valve = Repair("valve", 9.0, ANY, np.array([0.8, 1.0]), 1.0, ANY)
        >>> DecisionProblem(np.array([0.5, 0.5]), (), (hose, valve), np.zeros((1, 1)),
        ...     60.0).needs.tolist()
        [[1.0, 1.0], [0.0, 1.0]]
        """
        return (self.fixes > 0).astype(float)

    @cached_property
    def likelihood(self) -> Floats:
        """(T, O, H) chance of every outcome of every test; 0 for outcomes that a test lacks.

        >>> look = Test("look", 1.0, ANY, np.array([[0.9, 0.1], [0.3, 0.7]]))
        >>> dull = Test("dull", 1.0, ANY, np.ones((2, 1)))
        >>> prior = np.array([0.5, 0.5])
        >>> DecisionProblem(prior, (look, dull), (), np.zeros((1, 1)), 60.0).likelihood.tolist()
        [[[0.9, 0.3], [0.1, 0.7]], [[1.0, 1.0], [0.0, 0.0]]]
        """
        most = max((test.likelihood.shape[1] for test in self.tests), default=1)
        table = np.zeros((len(self.tests), most, len(self.prior)))
        for t, test in enumerate(self.tests):
            table[t, : test.likelihood.shape[1]] = test.likelihood.T
        return table

    @cached_property
    def noise(self) -> Floats:
        """(T, H) bits that the outcome of a test has left once the hypothesis is known.

        >>> look = Test("look", 1.0, ANY, np.array([[0.5, 0.5, 0.0, 0.0], [0.25] * 4]))
        >>> DecisionProblem(np.array([0.9, 0.1]), (look,), (), np.zeros((1, 1)),
        ...     60.0).noise.tolist()
        [[1.0, 2.0]]
        """
        safe = np.where(self.likelihood > 0, self.likelihood, 1.0)
        bits: Floats = -(self.likelihood * np.log2(safe)).sum(axis=1)
        return bits

    @cached_property
    def either(self) -> Bools:
        """(H) whether any one of several repairs restores a hypothesis.

        >>> hose = Repair("hose", 9.0, ANY, np.array([0.9, 0.0]), 1.0, ANY)
        >>> valve = Repair("valve", 9.0, ANY, np.array([0.8, 1.0]), 1.0, ANY)
        >>> prior, repairs, any_of = np.array([0.5, 0.5]), (hose, valve), np.array([True, True])
        >>> DecisionProblem(prior, (), repairs, np.zeros((1, 1)), 60.0, any_of).either.tolist()
        [True, False]
        """
        if self.any_of is None:
            return np.zeros(len(self.prior), dtype=bool)
        found: Bools = self.any_of & (self.needs.sum(axis=1) > 1)
        return found

    @cached_property
    def alternatives(self) -> tuple[Ints, Ints, Floats]:
        """(M) hypotheses with alternatives, (M, K) which repairs, (M, K) the chance of each.

        Shorter rows are filled up with their first repair at chance 0.

        >>> chances = [0.9, 0.6], [0.8, 0.5], [0.7, 0.0]
        >>> repairs = tuple(Repair("-", 9.0, ANY, np.array(each), 1.0, ANY) for each in chances)
        >>> prior, any_of = np.array([0.5, 0.5]), np.array([True, True])
        >>> problem = DecisionProblem(prior, (), repairs, np.zeros((1, 1)), 60.0, any_of)
        >>> [found.tolist() for found in problem.alternatives]
        [[0, 1], [[0, 1, 2], [0, 1, 0]], [[0.9, 0.8, 0.7], [0.6, 0.5, 0.0]]]
        """
        many = np.flatnonzero(self.either)
        each = [np.flatnonzero(self.needs[h]) for h in many]
        most = max(map(len, each), default=0)
        which = np.array([[*e, *[e[0]] * (most - len(e))] for e in each], dtype=np.intp)
        which = which.reshape(len(many), most)
        chance = self.fixes[many[:, None], which]
        for row, one in enumerate(each):
            chance[row, len(one) :] = 0.0
        return many, which, chance

    @cached_property
    def several(self) -> tuple[Ints, Ints, Floats]:
        """(M) hypotheses that need several repairs, (M, K) which, (M, K) the chance of each.

        Shorter lists are filled up with their first repair again, at chance 1.

        >>> chances = [0.9, 0.6], [0.8, 0.5], [0.7, 0.0]
        >>> repairs = tuple(Repair("-", 9.0, ANY, np.array(each), 1.0, ANY) for each in chances)
        >>> problem = DecisionProblem(np.array([0.5, 0.5]), (), repairs, np.zeros((1, 1)), 60.0)
        >>> [found.tolist() for found in problem.several]
        [[0, 1], [[0, 1, 2], [0, 1, 0]], [[0.9, 0.8, 0.7], [0.6, 0.5, 1.0]]]
        """
        many = np.flatnonzero((self.needs.sum(axis=1) > 1) & ~self.either)
        each = [np.flatnonzero(self.needs[h]) for h in many]
        most = max(map(len, each), default=1)
        which = np.array([np.resize(one, most) for one in each], dtype=np.intp)
        which = which.reshape(len(many), most)
        repeated = np.arange(most) >= np.array([len(one) for one in each])[:, None]
        return many, which, np.where(repeated, 1.0, self.fixes[many[:, None], which])

    def _after(self, wanted: Ints) -> Ints:
        return np.where(wanted == ANY, _states(self), self._landed(_states(self), wanted))

    def _landed(self, before: Ints, wanted: Ints) -> Ints:
        return wanted if self.landing is None else self.landing[before, wanted]


def _states(problem: DecisionProblem) -> Ints:
    return np.arange(len(problem.change), dtype=np.intp)[:, None]


def _problems(problem: DecisionProblem) -> Iterator[errors.Problem]:
    """Everything about a problem that does not fit together."""
    count, states = len(problem.prior), len(problem.change)
    if problem.change.shape != (states, states) or np.diagonal(problem.change).any():
        yield _wrong("change", "a square with a zero diagonal", problem.change.tolist())
    if not _distribution(problem.prior):
        yield _wrong("prior", "probabilities that sum to 1", f"a sum of {problem.prior.sum()}")
    for test in problem.tests:
        shape = test.likelihood.shape
        if shape[:1] != (count,) or len(shape) != 2 or not _distribution(test.likelihood):
            rows = f"{count} rows of probabilities that each sum to 1"
            yield _wrong(f"test {test.id}", rows, f"shape {shape}")
    for repair in problem.repairs:
        inside = ((repair.fixes >= 0) & (repair.fixes <= 1)).all()
        if repair.fixes.shape != (count,) or not inside:
            yield _wrong(f"repair {repair.id}", f"{count} chances", repair.fixes.tolist())
    landing = problem.landing
    if landing is not None and not _leads_on(landing, states):
        yield _wrong("landing", "a square of set-ups", landing.tolist())
    for name, setup in _setups(problem):
        if not ANY <= setup < states:
            yield _wrong(name, f"a set-up from {ANY} to {states - 1}", setup)


def _setups(problem: DecisionProblem) -> Iterator[tuple[str, int]]:
    for test in problem.tests:
        yield f"test {test.id}", test.setup
        yield f"end of test {test.id}", test.ends
    for repair in problem.repairs:
        yield f"repair {repair.id}", repair.setup
        yield f"proof of repair {repair.id}", repair.proof_setup


def _leads_on(landing: Ints, states: int) -> bool:
    return landing.shape == (states, states) and bool(((landing >= 0) & (landing < states)).all())


def _distribution(rows: Floats) -> bool:
    return bool((rows >= 0).all() and (np.abs(rows.sum(axis=-1) - 1) <= ROUNDING).all())


def _wrong(where: str, expected: str, got: object) -> errors.Problem:
    return errors.Problem(errors.Place(where), expected, str(got))
