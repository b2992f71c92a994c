"""Forward and backward over one connected part of the plan.

The sweep visits the groups in order and carries a *frontier*: one weight for every joint state
of the shared bundles that later groups still need, for every common state. States that later
groups cannot tell apart are merged. Cost is linear in the groups.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from diagnose.noisyor.budget import ROW, STEP, count, table
from diagnose.noisyor.course import Course
from diagnose.noisyor.factor import Group, Survival, explained, site_factors
from diagnose.noisyor.merging import Merging
from diagnose.noisyor.network import Floats, Ints
from diagnose.noisyor.plan import Block, Plan
from diagnose.record import record


@record
class Enter:
    """A shared bundle joins the frontier: (old state, bundle state) pairs merge into new ones.

    Without a bundle, states that no later group tells apart are merged. Pairs too light to
    matter go nowhere. ``states`` is how many states the bundle has (1 without a bundle).
    """

    bundle: int | None
    states: int
    merging: Merging

    @cached_property
    def sources(self) -> tuple[Ints, Ints]:
        """The old state and the bundle's state of each pair, in the order of the new states.

        >>> step = Enter(bundle=0, states=2, merging=Merging(np.array([0, 1, 1, 0]), 2))
        >>> [numbers.tolist() for numbers in step.sources]
        [[0, 1, 0, 1], [0, 1, 1, 0]]
        """
        old, own = np.divmod(self.merging.order, self.states)
        return old, own


@record
class Visit:
    """A group's factor is applied.

    The group tells only D of the frontier's Q states apart: ``alike`` says which, ``shared``
    are their survivals.
    """

    group: int
    shared: Survival
    alike: Merging


Step = Enter | Visit


SMALL = 1e-30
"""Weights are scaled up when the largest of some common state falls below this."""

VANISHED = 1e-280
"""Weights below this, beside a largest one above `SMALL`, are taken for zero."""

NOTHING: Floats = np.empty((0, 1, 1))
"""Factors of a step that visits no group."""


@record
class Trace:
    """What the forward sweep leaves for the backward one at a step.

    Parameters
    ----------
    before: (Q, T) the frontier when the step begins.
    factors: (sites, D, T) of a visited group; for a bundle that enters there are none.
    """

    before: Floats
    factors: Floats

    def at(self, states: Ints) -> Trace:
        """The same with only some of the common states.

        >>> less = Trace(np.array([[0.1, 0.9]]), np.array([[[0.2, 0.8]]])).at(np.array([1]))
        >>> less.before.tolist(), less.factors.tolist()
        ([[0.9]], [[[0.8]]])
        """
        return Trace(self.before[:, states], self.factors[..., states])

    @cached_property
    def product(self) -> Floats:
        """(D, T) the product of all factors.

        >>> Trace(np.ones((2, 1)), np.array([[[0.5], [1.0]], [[0.5], [0.75]]])).product.tolist()
        [[0.25], [0.75]]
        """
        product: Floats = np.multiply.reduce(self.factors)
        return product


@record
class World:
    """One block of common states, with what is particular to it.

    Parameters
    ----------
    block: T common states and the shared bundles they are met with.
    bundle_weight: per shared bundle (states), or (states, T) where common states differ.
    polynomial: per group (sites, N).
    special: a site whose private variables differ by common state, if there is one.
    """

    block: Block
    bundle_weight: Sequence[Floats]
    polynomial: Sequence[Floats]
    special: Special | None = None

    def at(self, states: Ints) -> World:
        """The same with only some of the common states.

        >>> block = Block(np.array([4, 9]), np.zeros(2), Survival.of(np.zeros((2, 1))))
        >>> weights = [np.array([1.0, 0.5]), np.array([[2.0, 3.0]])]
        >>> less = World(block, weights, []).at(np.array([1]))
        >>> less.block.rows.tolist(), [weight.tolist() for weight in less.bundle_weight]
        ([9], [[1.0, 0.5], [[3.0]]])
        """
        special = self.special and replace(self.special, reading=self.special.reading[states])
        weights = [
            weight if weight.ndim == 1 else weight[:, states] for weight in self.bundle_weight
        ]
        return World(self.block.at(states), weights, self.polynomial, special)


@record
class Special:
    """A site (``row`` of its ``group``) whose private variables have several readings.

    Parameters
    ----------
    reading: (T) which reading holds with each common state, from 0 and in order.
    private: when some of its open findings turn out absent, (readings, N).
    """

    group: int
    row: int
    reading: Ints
    private: Callable[[Sequence[int]], Floats]

    def factor(
        self, group: Group, left: Floats, shared: Survival, absent: Sequence[int] = ()
    ) -> Floats:
        """(D, T) the site's factor.

        >>> from diagnose.noisyor.factor import Column
        >>> once = Group((Column(0, 0, leak=0.0),), (1,), (), (0,), ((0, 0),))
        >>> cannot, must = [1.0, 0.0], [1.0, 1.0]
        >>> special = Special(0, 0, np.array([0, 1]), lambda absent: np.array([cannot, must]))
        >>> left = np.array([[0.25, 0.25], [0.75, 0.75]])
        >>> special.factor(once, left, Survival.of(np.log([[1.0], [0.5]]))).round(6).tolist()
        [[0.25, 1.0], [0.625, 1.0]]
        """
        private = self.private(absent)
        every = explained(group, private, shared)
        factor = np.empty((every.shape[1], left.shape[1]))
        bounds = np.searchsorted(self.reading, np.arange(len(every) + 1)).tolist()
        for own, (start, stop) in zip(every, pairwise(bounds), strict=True):
            if start < stop:
                np.matmul(own, left[:, start:stop], out=factor[:, start:stop])
        return factor


class Sweep:
    """One connected part, swept in one world.

    >>> from diagnose.noisyor import Finding, Network, Variable
    >>> from diagnose.noisyor.plan import make_plan
    >>> rows = [Finding(row, {"pump": (1, 0.5)}, 0.2, True) for row in "ab"]
    >>> rows.append(Finding("c", {}, 0.5, True))  # else the pump would be common
    >>> plan = make_plan(Network.of([Variable("pump", (0.5, 0.5))], rows))
    >>> pump, apart = plan.shared[0].bundle, Merging(np.arange(2), 2)
    >>> world = World(plan.block(np.array([0])), [pump.weight], [np.array([[1.0, 0.0]] * 2)])
    >>> steps = [Enter(0, 2, apart), Visit(0, Survival.of(pump.log_survival), apart)]
    >>> sweep = Sweep(plan, steps, world)
    >>> part = sweep.forward()
    >>> np.exp(part.log_part).round(6).tolist(), sweep.states  # 0.2 ** 2 + 0.6 ** 2, 1 + 2
    ([0.4], 3)
    >>> [behind.round(6).tolist() for *_, behind, _ in backward(sweep, part.traces, np.ones(1))]
    [[[1.0], [1.0]], [[0.04], [0.36]]]
    """

    def __init__(self, plan: Plan, steps: list[Step], world: World) -> None:
        self.plan, self.steps, self.world = plan, steps, world

    @property
    def states(self) -> int:
        """How many states the frontiers before all steps have together."""
        joins = (step for step in self.steps if isinstance(step, Enter))
        visits = (step for step in self.steps if isinstance(step, Visit))
        met = sum(len(step.merging.into) // step.states for step in joins)
        return met + sum(len(step.alike.into) for step in visits)

    def forward(self) -> Part:
        """Along all steps from the first to the last."""
        alpha = np.ones((1, len(self.world.block.rows)))
        scale = np.zeros(alpha.shape[1])
        traces = []
        for step in self.steps:
            trace, alpha, taken_out = self.advance(alpha, step)
            scale = scale + taken_out
            traces.append(trace)
        return Part.of(self, alpha, scale, traces)

    def advance(self, alpha: Floats, step: Step) -> tuple[Trace, Floats, Floats | float]:
        """One step: what it leaves behind, the frontier after it, the logs scaled out of it."""
        if isinstance(step, Enter):
            return Trace(alpha, NOTHING), self.expand(alpha, step), 0.0
        table(alpha.size, 2.0, ROW * len(alpha))
        trace = Trace(alpha, self._factors(step))
        return trace, *_rescaled(alpha * step.alike.spread(trace.product))

    def expand(self, alpha: Floats, step: Enter) -> Floats:
        """(..., Q, T) the frontier after a bundle has joined it.

        >>> from diagnose.noisyor import Network
        >>> from diagnose.noisyor.plan import make_plan
        >>> block = Block(np.array([0]), np.zeros(1), Survival.of(np.zeros((1, 1))))
        >>> world = World(block, [np.array([1.0, 0.25])], [])
        >>> sweep = Sweep(make_plan(Network.of([], [])), [], world)
        >>> two, one = Merging(np.array([0, 1]), 2), Merging(np.array([0, 0]), 1)
        >>> [sweep.expand(np.array([[0.5]]), Enter(0, 2, into)).tolist() for into in (two, one)]
        [[[0.5], [0.125]], [[0.625]]]
        """
        if step.bundle is None:
            return step.merging.summed(alpha)
        old, own = step.sources
        table(alpha.size // alpha.shape[-2] * len(old), 2.0, STEP + ROW * len(old))
        weight = self.world.bundle_weight[step.bundle]
        pairs = alpha[..., old, :]
        pairs *= weight[own] if weight.ndim == 2 else weight[own, None]
        return step.merging.added(pairs)

    def _factors(self, step: Visit) -> Floats:
        """(sites, D, T) of a group that is visited."""
        group, special = self.plan.groups[step.group], self.world.special
        left = self.world.block.left(group)
        factors = site_factors(group, self.world.polynomial[step.group], left, step.shared)
        if special is not None and special.group == step.group:
            factors[special.row] = special.factor(group, left, step.shared)
        return factors

    def collapse(self, beta: Floats, step: Enter) -> Floats:
        """(Q, T) what lies ahead, as the frontier before a bundle joined sees it.

        >>> from diagnose.noisyor import Network
        >>> from diagnose.noisyor.plan import make_plan
        >>> block = Block(np.array([0]), np.zeros(1), Survival.of(np.zeros((1, 1))))
        >>> world = World(block, [np.array([1.0, 0.25])], [])
        >>> sweep = Sweep(make_plan(Network.of([], [])), [], world)
        >>> join = Enter(0, 2, Merging(np.array([0, 1]), 2))
        >>> sweep.collapse(np.array([[0.5], [0.2]]), join).round(6).tolist()
        [[0.55]]
        """
        beta = step.merging.spread(beta)
        if step.bundle is None:
            return beta
        weight = self.world.bundle_weight[step.bundle]
        count(ROW * len(beta) + beta.size)
        pairs = beta.reshape(-1, step.states, beta.shape[-1])
        ahead: Floats = (pairs * weight).sum(axis=1) if weight.ndim == 2 else weight @ pairs
        return ahead


@record
class Part:
    """A connected part after the forward sweep.

    ``log_part`` is the (T) log probability of this part in each common state; ``traces`` are
    what a backward sweep needs, or none.
    """

    sweep: Sweep
    log_part: Floats
    traces: list[Trace]

    @classmethod
    def of(cls, sweep: Sweep, alpha: Floats, scale: Floats, traces: list[Trace]) -> Part:
        """From the last frontier, with the logs that were scaled out of it.

        >>> from diagnose.noisyor import Network
        >>> from diagnose.noisyor.plan import make_plan
        >>> block = Block(np.array([0]), np.zeros(1), Survival.of(np.zeros((1, 1))))
        >>> sweep = Sweep(make_plan(Network.of([], [])), [], World(block, [], []))
        >>> Part.of(sweep, np.array([[0.25], [0.75]]), np.array([-40.0]), []).log_part.tolist()
        [-40.0]
        """
        with np.errstate(divide="ignore"):
            return cls(sweep, scale + np.log(alpha.sum(axis=0)), traces)


def of_twin(steps: Sequence[Step], twin: Course) -> list[Step]:
    """The steps that were found on a course, with the groups, bundles and columns of its twin.

    >>> from diagnose.noisyor.course import Join, Stop
    >>> told, same = Survival.of(np.zeros((1, 1)), {0: 0}), Merging(np.arange(1), 1)
    >>> place = np.arange(1)
    >>> twin = (Stop(3, (Join(5, np.zeros((1, 1)), place, place, 0.0),), {8: 0}, place, 0.0),)
    >>> join, visit = of_twin([Enter(0, 1, same), Visit(0, told, same)], twin)
    >>> join.bundle, visit.group, visit.shared.place
    (5, 3, {8: 0})
    """
    stops = iter(twin)
    bundles = iter([j.bundle for stop in twin for j in stop.joins if j.bundle is not None])
    found: list[Step] = []
    for step in steps:
        if isinstance(step, Visit):
            stop = next(stops)
            shared = replace(step.shared, place=stop.used)
            found.append(replace(step, group=stop.group, shared=shared))
        else:
            bundle = None if step.bundle is None else next(bundles)
            found.append(replace(step, bundle=bundle))
    return found


def backward(
    sweep: Sweep, traces: list[Trace], posterior: Floats
) -> Iterator[tuple[int, Step, Trace, Floats, Floats]]:
    """Steps from last to first, each with the context that its own factor lacks.

    Traces are large: each is taken out of the list, so that it is gone when nobody keeps it.

    Yields
    ------
    (position, step, trace, behind, norm): ``behind`` is (Q, T) the weight of everything
    after the step; ``trace.before * behind * (the step's own part) * norm`` sums to
    ``posterior``, the (T) posterior of the common states.
    """
    beta = np.ones((1, len(posterior)))
    for k in range(len(sweep.steps) - 1, -1, -1):
        step, trace = sweep.steps[k], traces.pop()
        count(STEP + ROW * len(trace.before) + 2.0 * trace.before.size)
        if isinstance(step, Enter):
            ahead = sweep.collapse(beta, step)
        else:
            if len(beta) == 1:
                beta = np.broadcast_to(beta, trace.before.shape)
            ahead = beta * step.alike.spread(trace.product)
        total = np.einsum("qt,qt->t", trace.before, ahead)
        norm = np.divide(posterior, total, out=np.zeros_like(total), where=total > 0)
        yield k, step, trace, beta, norm
        beta, _ = _rescaled(ahead)


def others(factors: Floats) -> Floats:
    """(R, ...) for each site the product of all the other sites' factors, without division.

    >>> others(np.array([[2.0], [3.0], [5.0]])).tolist()
    [[15.0], [10.0], [6.0]]
    """
    if len(factors) == 1:
        return np.ones_like(factors)
    table(factors.size, 2.0)
    before, after = np.ones_like(factors), np.ones_like(factors)
    for r in range(1, len(factors)):
        np.multiply(before[r - 1], factors[r - 1], out=before[r])
        np.multiply(after[-r], factors[-r], out=after[-r - 1])
    before *= after
    return before


def _rescaled(alpha: Floats) -> tuple[Floats, Floats]:
    """Each common state's entries divided by the largest, once they become small.

    Entries that have all but underflown become zero: processors are slow with what is left
    of their digits. Also the (T) logs of what was taken out.
    """
    largest = alpha.max(axis=0)
    taken_out = np.zeros(len(largest))
    if largest.min() <= SMALL:
        largest[largest == 0] = 1.0
        alpha, taken_out = alpha / largest, np.log(largest)
    if alpha.min() < VANISHED:
        alpha = np.where(alpha > VANISHED, alpha, 0.0)
    return alpha, taken_out
