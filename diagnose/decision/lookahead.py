"""What to do next: expected minutes until all is well, a few acts ahead.

A search over acts and their outcomes (expectimax). Where it stops looking it takes the plan
of repairs without further tests: a policy that works, so every value is an upper bound of
the optimum, and never above the repairs-only plan. Myopic look-ahead over repairs and
observations as in D. Heckerman, J. S. Breese and K. Rommelse (1995), "Decision-theoretic
troubleshooting"; here it is deepened as far as time allows.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from diagnose.arrays import Bools, Floats, Ints
from diagnose.decision.belief import BeliefStates, Bound, rates, repaired, start, tested
from diagnose.decision.problem import DecisionProblem
from diagnose.decision.repair_order import clearing_rates, plan_minutes
from diagnose.record import record
from diagnose.tolerances import ACTS_ALIKE, BELIEFS_AT_ONCE, VALUES_ALIKE, WIDER

Goal = Literal["restore", "isolate"]
_Kind = Literal["test", "repair", "last resort", "stop"]


@record
class Act:
    """A test or a repair by its number and id, handing over, or nothing left to tell apart."""

    kind: _Kind
    index: int = -1
    id: str = ""


@record
class Valued:
    """An act with its value, and the depth to which it was looked at."""

    act: Act
    value: float
    depth: int


@record
class Decision:
    """What to do next.

    Parameters
    ----------
    act: the best act found.
    value: expected minutes with it until all is well; for isolating, bits per minute.
    lower: no plan needs fewer expected minutes than this; 0 for isolating.
    exact: the value is proved to be the optimum.
    depth_reached: acts looked ahead.
    ranked: every act, best first, valued at the depth to which it was looked at.
    """

    act: Act
    value: float
    lower: float
    exact: bool
    depth_reached: int
    ranked: tuple[Valued, ...]


def decide(
    problem: DecisionProblem,
    belief: Floats,
    setup: int,
    goal: Goal = "restore",
    depth: int = 2,
    width: int = 8,
    seconds: float = np.inf,
) -> Decision:
    """The best next act for a belief (H) in a set-up.

    Depth 1 is always looked at; deeper ones while ``seconds`` last, so that an answer is
    there at once and gets better with time.

    Parameters
    ----------
    goal: ``restore`` until all is well, or ``isolate``: what tells most per minute.
    width: how many acts are followed further at each step.

    Looking costs 2 minutes and tells which of two is at fault, to be mended in 10 or 20 minutes:
    2 + 15 minutes, where mending in turn takes 10 + 20 / 2.

    >>> from diagnose.decision.problem import ANY, Repair, Test
    >>> look = Test("look", 2.0, ANY, np.eye(2))
    >>> hose = Repair("hose", 9.0, ANY, np.array([1.0, 0.0]), 1.0, ANY)
    >>> valve = Repair("valve", 19.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
    >>> problem = DecisionProblem(np.array([0.5, 0.5]), (look,), (hose, valve), np.zeros((1, 1)),
    ...     60.0)
    >>> found = decide(problem, problem.prior, setup=0)
    >>> [(one.act.id or one.act.kind, one.value) for one in found.ranked]
    [('look', 17.0), ('hose', 20.0), ('valve', 25.0), ('last resort', 60.0)]
    >>> decide(problem, problem.prior, setup=0, goal="isolate").value
    0.5
    """
    return decide_from(problem, start(problem, belief, setup), goal, depth, width, seconds)


def decide_from(
    problem: DecisionProblem, here: BeliefStates, goal: Goal, depth: int, width: int, seconds: float
) -> Decision:
    """The same in any one situation.

    >>> from diagnose.decision.problem import ANY, Repair
    >>> hose = Repair("hose", 9.0, ANY, np.array([0.5]), 1.0, ANY)
    >>> problem = DecisionProblem(np.ones(1), (), (hose,), np.zeros((1, 1)), 60.0)
    >>> here = start(problem, problem.prior, 0)
    >>> for now in here, repaired(problem, here, np.array([0])):
    ...     found = decide_from(problem, now, "restore", depth=2, width=8, seconds=np.inf)
    ...     found.act.kind, found.value, found.exact
    ('repair', 40.0, True)
    ('last resort', 60.0, True)
    """
    if goal == "isolate":
        return _most_telling(problem, here)
    return _Search(problem, width, time.perf_counter() + seconds).decide(here, depth)


def _most_telling(problem: DecisionProblem, here: BeliefStates) -> Decision:
    rate = rates(problem, here)[0]
    ranked = tuple(
        Valued(Act("test", int(t), problem.tests[t].id), float(rate[t]), 1)
        for t in np.argsort(-rate, kind="stable")
        if here.tests[0, t]
    )
    if not ranked or ranked[0].value <= 0:
        return Decision(Act("stop"), 0.0, 0.0, True, 1, ranked)
    return Decision(ranked[0].act, ranked[0].value, 0.0, False, 1, ranked)


class _OutOfTime(Exception):
    """The search has no time left; what it found before stands."""


@dataclass(frozen=True, eq=False)
class _Acts:
    """(P) acts in situations: tests are numbered from 0, repairs follow them."""

    origin: Ints
    act: Ints

    def __len__(self) -> int:
        return len(self.origin)

    def at(self, which: Ints | Bools) -> _Acts:
        return _Acts(self.origin[which], self.act[which])

    def joined(self, other: _Acts) -> _Acts:
        pairs = ((self.origin, other.origin), (self.act, other.act))
        return _Acts(*(np.concatenate(pair) for pair in pairs))


class _Search:
    """One search, with its width and its end of time."""

    def __init__(self, problem: DecisionProblem, width: int, end: float) -> None:
        self.problem, self.width, self.end = problem, width, end
        self.bound = Bound(problem)
        self.tests = len(problem.tests)
        self.minutes = np.concatenate([problem.test_minutes, problem.repair_minutes], axis=1)
        self.setups = np.concatenate([problem.test_setups, problem.repair_setups], axis=1)
        self.cut = False

    def decide(self, here: BeliefStates, depth: int) -> Decision:
        """Deepen one act at a time, following the most promising acts only."""
        whole = float(here.mass[0])
        lower = float(self.bound.minutes(here)[0]) / whole
        acts = _Acts(*np.nonzero(np.concatenate([here.tests, here.repairs], axis=1)))
        value = self.values(here, acts, 1)
        reached, levels = 1, np.ones(len(acts), dtype=int)
        exact = self._exact(value / whole, lower)
        while reached < depth and not exact and len(acts):
            try:
                kept, deeper, exact = self._deepen(here, acts, value, reached + 1)
            except _OutOfTime:
                break
            reached += 1
            value[kept] = np.minimum(value[kept], deeper)
            levels[kept] = reached
        ranked = self._ranked(here, acts, value / whole, levels)
        best = ranked[0].value
        exact = exact or best <= lower * (1 + VALUES_ALIKE)
        return Decision(ranked[0].act, best, lower, exact, reached, ranked)

    def _deepen(
        self, here: BeliefStates, acts: _Acts, value: Floats, depth: int
    ) -> tuple[Ints, Floats, bool]:
        """The acts worth following from the start, their values, and whether that was all."""
        self.cut = False
        order = np.argsort(value, kind="stable")
        best = min(float(value[order[0]]), self.problem.last_resort * float(here.mass[0]))
        hopeful = order[self._lower(here, acts)[order] < best * (1 - VALUES_ALIKE)]
        kept = hopeful[: self.width]
        self.cut = len(kept) < len(hopeful)
        return kept, self.values(here, acts.at(kept), depth), not self.cut

    def _exact(self, value: Floats, lower: float) -> bool:
        best = min(float(value.min(initial=np.inf)), self.problem.last_resort)
        return not self.cut or best <= lower * (1 + VALUES_ALIKE)

    def _ranked(
        self, here: BeliefStates, acts: _Acts, value: Floats, levels: Ints
    ) -> tuple[Valued, ...]:
        """The cheapest first; of equals, as where two tests are both made, what tells most."""
        bits = rates(self.problem, here)[0]
        found = [Valued(Act("last resort"), self.problem.last_resort, 1)]
        for act, minutes, level in zip(
            acts.act.tolist(), value.tolist(), levels.tolist(), strict=True
        ):
            found.append(Valued(self._act(act), minutes, level))

        def place(one: Valued) -> tuple[float, float]:
            told = float(bits[one.act.index]) if one.act.kind == "test" else 0.0
            return round(one.value, ACTS_ALIKE), -told

        return tuple(sorted(found, key=place))

    def _act(self, number: int) -> Act:
        if number < self.tests:
            return Act("test", number, self.problem.tests[number].id)
        return Act("repair", number - self.tests, self.problem.repairs[number - self.tests].id)

    def values(self, here: BeliefStates, acts: _Acts, depth: int) -> Floats:
        """(P) minutes, times the mass, of each act and of the best found after it.

        >>> from diagnose.decision.problem import ANY, Repair, Test
        >>> look = Test("look", 2.0, ANY, np.eye(2))
        >>> hose = Repair("hose", 9.0, ANY, np.array([1.0, 0.0]), 1.0, ANY)
        >>> valve = Repair("valve", 19.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
        >>> problem = DecisionProblem(np.array([0.5, 0.5]), (look,), (hose, valve), np.zeros((1,
        ...     1)), 60.0)
        >>> acts = _Acts(np.zeros(3, dtype=int), np.arange(3))
        >>> _Search(problem, 8, np.inf).values(start(problem, problem.prior, 0), acts, 1).tolist()
        [17.0, 20.0, 25.0]
        """
        found = self._cost(here, acts)
        for part in _parts(np.flatnonzero(acts.act < self.tests)):
            after, origin, _ = tested(self.problem, here.at(acts.origin[part]), acts.act[part])
            found[part] += np.bincount(origin, self.best(after, depth - 1), len(part))
        for part in _parts(np.flatnonzero(acts.act >= self.tests)):
            before = here.at(acts.origin[part])
            failed = repaired(self.problem, before, acts.act[part] - self.tests)
            found[part] += self.best(failed, depth - 1)
        return found

    def best(self, here: BeliefStates, depth: int) -> Floats:
        """(B) least minutes found, times the mass, looking so many acts ahead.

        >>> from diagnose.decision.problem import ANY, Repair, Test
        >>> look = Test("look", 2.0, ANY, np.eye(2))
        >>> hose = Repair("hose", 9.0, ANY, np.array([1.0, 0.0]), 1.0, ANY)
        >>> valve = Repair("valve", 19.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
        >>> problem = DecisionProblem(np.array([0.5, 0.5]), (look,), (hose, valve), np.zeros((1,
        ...     1)), 60.0)
        >>> search, here = _Search(problem, 8, np.inf), start(problem, problem.prior, 0)
        >>> [search.best(here, depth).tolist() for depth in (0, 1)]
        [[20.0], [17.0]]
        """
        found = plan_minutes(self.problem, here)
        if depth > 0:
            for part in _parts(np.arange(len(here))):
                found[part] = self._ahead(here.at(part), found[part], depth)
        if depth < 2 and not self.cut:
            unproved = found > self.bound.minutes(here) * (1 + VALUES_ALIKE)
            self._note(here.at(unproved), depth)
        return found

    def _ahead(self, here: BeliefStates, found: Floats, depth: int) -> Floats:
        """The best of what is known already and of the acts that can still beat it."""
        if time.perf_counter() > self.end:
            raise _OutOfTime
        acts = self._tests(here, found)
        if depth > 1:
            acts = acts.joined(self._repairs(here, found))
            glance = self._glance(here, acts)
            found = _least(found, acts, glance)
            kept = self._narrowed(acts, glance, self.width)
            acts = self._hopeful(here, found, kept)
        return _least(found, acts, self.values(here, acts, depth))

    def _tests(self, here: BeliefStates, found: Floats) -> _Acts:
        """The tests that tell most per minute."""
        rate = rates(self.problem, here)
        acts = self._hopeful(here, found, _Acts(*np.nonzero(rate > 0)))
        return self._narrowed(acts, -rate[acts.origin, acts.act], self.width * WIDER)

    def _repairs(self, here: BeliefStates, found: Floats) -> _Acts:
        """The repairs that clear most per minute."""
        rate = clearing_rates(self.problem, here)
        origin, repair = np.nonzero(rate > 0)
        acts = self._hopeful(here, found, _Acts(origin, repair + self.tests))
        return self._narrowed(acts, -rate[acts.origin, acts.act - self.tests], self.width * WIDER)

    def _glance(self, here: BeliefStates, acts: _Acts) -> Floats:
        """Values one act ahead, only to choose what to follow."""
        cut = self.cut
        value = self.values(here, acts, 1)
        self.cut = cut
        return value

    def _hopeful(self, here: BeliefStates, found: Floats, acts: _Acts) -> _Acts:
        """The acts that could beat what was found, were the diagnosis perfect after them."""
        return acts.at(self._lower(here, acts) < found[acts.origin] * (1 - VALUES_ALIKE))

    def _lower(self, here: BeliefStates, acts: _Acts) -> Floats:
        """(P) the cost of each act and the lower bound of what follows, times the mass."""
        after = self.setups[here.setup[acts.origin], acts.act]
        ahead = self.bound.by_setup(here)[acts.origin, after]
        repairs = np.flatnonzero(acts.act >= self.tests)
        for part in _parts(repairs):
            before = here.at(acts.origin[part])
            failed = repaired(self.problem, before, acts.act[part] - self.tests)
            ahead[part] = self.bound.minutes(failed)
        lower: Floats = self._cost(here, acts) + ahead
        return lower

    def _cost(self, here: BeliefStates, acts: _Acts) -> Floats:
        cost: Floats = self.minutes[here.setup[acts.origin], acts.act] * here.mass[acts.origin]
        return cost

    def _narrowed(self, acts: _Acts, worth: Floats, width: int) -> _Acts:
        """In every situation, the acts of least ``worth``."""
        order = np.lexsort((worth, acts.origin))
        origin = acts.origin[order]
        place = np.arange(len(origin)) - np.searchsorted(origin, origin)
        self.cut |= bool((place >= width).any())
        return acts.at(order[place < width])

    def _note(self, here: BeliefStates, depth: int) -> None:
        """Remember that values may not be the optimum where more acts are open than were tried."""
        clearing = (clearing_rates(self.problem, here) > 0).sum(axis=1)
        self.cut = bool((clearing > depth).any())
        if not self.cut:
            telling = (rates(self.problem, here) > 0).sum(axis=1)
            self.cut = bool((clearing + telling > depth).any())


def _least(found: Floats, acts: _Acts, value: Floats) -> Floats:
    best = found.copy()
    np.minimum.at(best, acts.origin, value)
    return best


def _parts(numbers: Ints) -> Iterator[Ints]:
    for begin in range(0, len(numbers), BELIEFS_AT_ONCE):
        yield numbers[begin : begin + BELIEFS_AT_ONCE]
