"""Laying out a sweep while it goes forward, without the states that cannot matter.

What a frontier state can still contribute to the evidence is at most its weight times what
lies ahead at its best: every group's factor with all shared bundles in their worst state,
every bundle that joins later with all its weight. Set against a lower bound of the evidence
this is a share; the lightest states are left out as long as their shares, added up over
everything left out, stay below what is allowed. Weights here have met the findings so far,
which is why this leaves out far more than any bound on prior weights.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np

from diagnose.errors import OverBudget
from diagnose.noisyor.arrays import distinct
from diagnose.noisyor.budget import LARGEST, STEP, table
from diagnose.noisyor.bundle import alike, heavy
from diagnose.noisyor.course import Course, Join, Stop
from diagnose.noisyor.factor import Survival, site_factors
from diagnose.noisyor.merging import Merging
from diagnose.noisyor.network import Floats, Ints
from diagnose.noisyor.plan import Block, Plan
from diagnose.noisyor.sweep import Enter, Part, Step, Sweep, Trace, Visit, World
from diagnose.record import record

LARGEST_LOG = 600.0
"""Shares are bounded by no more than exp of this: smaller weights have all but underflown."""

WORTH_IT = 0.9
"""States are sent back when no more than this part of them is needed."""

LOWEST_LOG = -1e9
"""In place of the log of zero, where logs are subtracted."""

Choose = Callable[[Floats], Ints]
"""Which states to keep, in order, by what each can contribute at most."""


@record
class Ceiling:
    """Upper bounds, for every common state, on what the groups and bundles can contribute.

    Parameters
    ----------
    groups: (groups, T) log of each group's factor with the shared bundles at their worst.
    bundles: (bundles) log of each bundle's total weight.
    """

    groups: Floats
    bundles: Floats

    @classmethod
    def of(cls, plan: Plan, everything: Block, polynomials: Sequence[Floats]) -> Ceiling:
        """From all common states and the groups' (sites, N) private polynomials.

        >>> from diagnose.noisyor import Finding, Network, Variable
        >>> from diagnose.noisyor.solver import Solver
        >>> rows = [Finding(row, {"pump": (1, 0.5)}, present=True) for row in "ab"]
        >>> rows.append(Finding("c", {}, leak=0.2, present=True))
        >>> ceiling = Solver.of(Network.of([Variable("pump", (0.75, 0.25))], rows)).ceiling
        >>> np.exp(ceiling.groups).round(4).tolist(), np.exp(ceiling.bundles).round(4).tolist()
        ([[0.25], [0.2]], [1.3333])
        """
        least = np.zeros((1, plan.columns[1]))
        for shared in plan.shared:
            least[0, list(shared.columns)] += shared.log_survival.min(axis=0)
        worst = Survival.of(least)
        with np.errstate(divide="ignore"):
            groups = [
                np.log(site_factors(group, own, everything.left(group), worst)[:, 0]).sum(axis=0)
                for group, own in zip(plan.groups, polynomials, strict=True)
            ]
        weights = [np.log(shared.weight.sum()) for shared in plan.shared]
        return cls(
            np.maximum(np.reshape(groups, (-1, len(everything.rows))), LOWEST_LOG),
            np.array(weights, dtype=float),
        )

    @cached_property
    def total(self) -> Floats:
        """(T) log of all groups and bundles.

        >>> ceiling = Ceiling(np.log([[0.5, 0.25], [0.5, 0.5]]), np.log([2.0]))
        >>> np.exp(ceiling.total).round(6).tolist()
        [0.5, 0.25]
        """
        total: Floats = self.groups.sum(axis=0) + self.bundles.sum()
        return total

    def groups_ahead(self, course: Course, rows: Ints) -> Floats:
        """(stops, rows) log of what the groups from each stop on can contribute.

        >>> ceiling = Ceiling(np.log([[0.5, 0.1], [0.25, 0.1]]), np.zeros(0))
        >>> course = tuple(Stop(g, (), {}, np.zeros(0, dtype=np.intp), 0.0) for g in (1, 0))
        >>> np.exp(ceiling.groups_ahead(course, np.array([0]))).round(6).tolist()
        [[0.125], [0.5]]
        """
        groups = self.groups[[stop.group for stop in course]][:, rows]
        ahead: Floats = np.cumsum(groups[::-1], axis=0)[::-1]
        return ahead

    def bundles_of(self, course: Course) -> float:
        """Log of the total weight of the bundles that join on a course.

        >>> ceiling = Ceiling(np.zeros((1, 1)), bundles=np.array([2.0, 3.0]))
        >>> none = np.zeros(0, dtype=np.intp)
        >>> joins = tuple(Join(b, np.zeros((1, 0)), none, none, 0.0) for b in (None, 1))
        >>> ceiling.bundles_of((Stop(0, joins, {}, none, 0.0),))
        3.0
        """
        joining = [join.bundle for stop in course for join in stop.joins]
        return float(self.bundles[[b for b in joining if b is not None]].sum())


def explore(
    plan: Plan,
    world: World,
    course: Course,
    ahead: Floats,
    outside: Floats,
    choose: Choose,
    traced: bool = False,
) -> Part:
    """Lay out the sweep of one connected part while going forward, and keep its traces if asked.

    Parameters
    ----------
    ahead: (stops, T) log bound on the share of the evidence per weight before each stop, of
        all that is not in the weight yet but the bundles that are still to join.
    outside: (T) the same behind the last stop.
    """
    way = _Way(plan, world, choose, traced)
    for stop, best, behind in zip(course, ahead, (*ahead[1:], outside), strict=True):
        for join in stop.joins:
            way.join(join, best + join.to_come)
        way.visit(stop, behind + stop.to_come)
    return way.done()


class _Way:
    """The frontier on its way: weights, log survivals, and the steps that led there."""

    def __init__(self, plan: Plan, world: World, choose: Choose, traced: bool) -> None:
        self.plan, self.world, self.choose, self.traced = plan, world, choose, traced
        self.sweep = Sweep(plan, [], world)
        self.alpha = np.ones((1, len(world.block.rows)))
        self.scale = np.zeros(len(world.block.rows))
        self.logs = np.zeros((1, 0))
        self.traces: list[Trace] = []
        self.kept = 0

    def join(self, join: Join, ahead: Floats) -> None:
        """Let a bundle join, or forget what no later group needs."""
        table(len(self.alpha) * len(join.table) * (join.table.shape[1] + 2), 3.0, STEP)
        worth = self._worth(self.alpha, self.scale, ahead)
        if join.bundle is not None:
            worth = (worth[:, None] * self.world.bundle_weight[join.bundle]).ravel()
        kept = self.choose(worth)
        joined = join.columns(self.logs, kept)
        first, into = alike(joined)
        everywhere = np.full(len(worth), len(first))
        everywhere[kept] = into
        self.logs = joined[first]
        step = Enter(join.bundle, len(join.table), Merging(everywhere, len(first)))
        if step.bundle is not None or not step.merging.idle:
            self._add(step, *self.sweep.advance(self.alpha, step))

    def visit(self, stop: Stop, ahead: Floats) -> None:
        """Apply a group's factor; what has then become too light should not have joined."""
        visit = _visit(stop, self.logs)
        trace, alpha, taken_out = self.sweep.advance(self.alpha, visit)
        if self.sweep.steps and isinstance(self.sweep.steps[-1], Enter):
            kept = self.choose(self._worth(alpha, self.scale + taken_out, ahead))
            if len(kept) < WORTH_IT * len(alpha):
                self._narrow(kept)
                visit, trace = _narrowed(visit, trace, kept)
                alpha = alpha[kept]
        self._add(visit, trace, alpha, taken_out)

    def done(self) -> Part:
        """The part swept."""
        return Part.of(self.sweep, self.alpha, self.scale, self.traces)

    @staticmethod
    def _worth(alpha: Floats, scale: Floats, ahead: Floats) -> Floats:
        """(Q) what each state can contribute at most."""
        worth: Floats = alpha @ np.exp(np.minimum(scale + ahead, LARGEST_LOG))
        return worth

    def _add(self, step: Step, trace: Trace, alpha: Floats, taken_out: Floats | float) -> None:
        self.alpha, self.scale = alpha, self.scale + taken_out
        self.sweep.steps.append(step)
        if self.traced:
            self.kept += trace.before.size + trace.factors.size
            if self.kept > LARGEST:
                raise OverBudget
            self.traces.append(trace)

    def _narrow(self, kept: Ints) -> None:
        """Let only these states come out of the last step, a join."""
        last = self.sweep.steps[-1]
        assert isinstance(last, Enter)
        number = np.full(last.merging.size + 1, len(kept))
        number[kept] = np.arange(len(kept))
        merging = Merging(number[last.merging.into], len(kept))
        self.sweep.steps[-1] = replace(last, merging=merging)
        self.alpha, self.logs = self.alpha[kept], self.logs[kept]


def _visit(stop: Stop, logs: Floats) -> Visit:
    first, into = alike(logs[:, stop.place])
    told = np.zeros((len(first), len(stop.place) + 1))
    told[:, :-1] = logs[first[:, None], stop.place]
    return Visit(stop.group, Survival.of(told, stop.used), Merging(into, len(first)))


def _narrowed(visit: Visit, trace: Trace, kept: Ints) -> tuple[Visit, Trace]:
    """A visit that has been made, without the frontier states that are not kept."""
    states = visit.alike.into[kept]
    first, into = distinct(states)
    told = states[first]
    narrow = Visit(visit.group, visit.shared.at(told), Merging(into, len(told)))
    return narrow, Trace(trace.before[kept], trace.factors[:, told])


def within(share: float) -> Choose:
    """Keep all but the lightest, together at most this share of the evidence.

    >>> within(0.1)(np.array([0.05, 0.7, 0.25])).tolist()
    [1, 2]
    """
    return lambda worth: heavy(worth, share)


def at_most(number: int) -> Choose:
    """Keep so many of the heaviest states.

    >>> at_most(2)(np.array([0.3, 0.1, 0.6])).tolist()
    [0, 2]
    """

    def choose(worth: Floats) -> Ints:
        kept: Ints = np.sort(np.argsort(-worth)[:number])
        return kept

    return choose
