"""Forward and backward over one connected part of the plan.

Given a state of the common bundle, parts of the plan that share no bundle are independent.
Within one, the sweep visits its groups in order and carries a *frontier*: one weight for
every joint state of the shared bundles that later groups still need, for every common
state. States that later groups cannot tell apart are merged. Cost is linear in the groups.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import log

import numpy as np

from diagnose.noisyor.bundle import alike, merged
from diagnose.noisyor.factor import Group, Survival, explained, site_factors
from diagnose.noisyor.merging import Merging
from diagnose.noisyor.network import Floats, Ints
from diagnose.noisyor.plan import Block, Plan, Shared


@dataclass(frozen=True)
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
        """The old state and the bundle's state of each pair, in the order of the new states."""
        old, own = np.divmod(self.merging.order, self.states)
        return old, own


@dataclass(frozen=True)
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

NOTHING: Floats = np.empty((0, 1, 1))
"""Factors of a step that visits no group."""


@dataclass(frozen=True)
class Trace:
    """What the forward sweep leaves for the backward one at a step.

    Parameters
    ----------
    before: (Q, T) the frontier when the step begins.
    factors: (sites, D, T) of a visited group; for a bundle that enters there are none.
    """

    before: Floats
    factors: Floats

    @cached_property
    def product(self) -> Floats:
        """(D, T) the product of all factors."""
        product: Floats = np.multiply.reduce(self.factors)
        return product


def components(plan: Plan, block: Block) -> Iterator[list[Step]]:
    """The steps of each connected part of the plan, with a block's states of shared bundles."""
    shared = block.shared
    touching: dict[int, list[int]] = {g: [] for g in range(len(plan.groups))}
    for b, one in enumerate(shared):
        for g in one.groups:
            touching[g].append(b)
    left = dict.fromkeys(touching)
    while left:
        order = _connected_order(shared, touching, left)
        yield _steps(plan, block, order, touching)


def _connected_order(
    shared: Sequence[Shared], touching: Mapping[int, list[int]], left: dict[int, None]
) -> list[int]:
    """Take one connected part out of ``left``: next is always the group that adds least.

    Looked at are groups that share a bundle with the frontier, and groups that share one with
    these: where hoses feed row after row, the row fed first is entered before those behind it.
    """

    def beside(groups: set[int]) -> set[int]:
        bundles = {b for g in groups for b in touching[g]}
        return {g for b in bundles for g in shared[b].groups if g in left}

    start = min(left, key=lambda g: (_growth(shared, touching[g], set()), g))
    order: list[int] = []
    active: set[int] = set()
    near = {start}
    while near:
        chosen = min(near | beside(near), key=lambda g: (_growth(shared, touching[g], active), g))
        order.append(chosen)
        del left[chosen]
        active.update(touching[chosen])
        near.discard(chosen)
        near |= beside({chosen})
    return order


def _growth(shared: Sequence[Shared], bundles: Sequence[int], active: set[int]) -> float:
    return sum(log(max(len(shared[b].weight), 1)) for b in bundles if b not in active)


def _steps(
    plan: Plan, block: Block, order: Sequence[int], touching: Mapping[int, list[int]]
) -> list[Step]:
    logs = np.zeros((1, plan.columns[1]))
    weight = np.ones(1)
    shared, spare = block.shared, block.spare
    used = [
        sorted({c.shared for c in (*plan.groups[g].classes, *plan.groups[g].queries)})
        for g in order
    ]
    steps: list[Step] = []
    entered: set[int] = set()
    for k, g in enumerate(order):
        remaining = sorted(set().union(*used[k:]))
        coming = [b for b in touching[g] if b not in entered]
        entered.update(coming)
        if len(logs) > 1:
            merge, logs, weight = _join(None, 1, logs, weight, remaining, 0.0)
            steps += [] if merge.merging.idle else [merge]
        for b in coming:
            joined = logs[:, None, :] + _widened(shared[b], logs.shape[1])
            pairs = (weight[:, None] * shared[b].weight).ravel()
            joined = joined.reshape(-1, logs.shape[1])
            step, logs, weight = _join(b, len(shared[b].weight), joined, pairs, remaining, spare)
            steps.append(step)
        steps.append(_visit(g, logs, used[k]))
    return steps


def _visit(group: int, logs: Floats, used: Sequence[int]) -> Visit:
    first, into = alike(logs[:, used])
    return Visit(group, Survival.of(logs[first]), Merging(into, len(first)))


def _widened(shared: Shared, columns: int) -> Floats:
    wide = np.zeros((len(shared.weight), columns))
    wide[:, list(shared.columns)] = shared.log_survival
    return wide


def _join(
    bundle: int | None,
    states: int,
    joined: Floats,
    pairs: Floats,
    remaining: Sequence[int],
    spare: float,
) -> tuple[Enter, Floats, Floats]:
    """The step, and the log survivals and weights of the frontier's new states."""
    first, into, weight = merged(pairs, joined[:, remaining], spare)
    return Enter(bundle, states, Merging(into, len(first))), joined[first], weight


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class Special:
    """A site (``row`` of its ``group``) whose private variables have several readings.

    Parameters
    ----------
    reading: (T) which reading holds with each common state; from 0, every number is used.
    private: when some of its open findings turn out absent, (readings, N).
    """

    group: int
    row: int
    reading: Ints
    private: Callable[[Sequence[int]], Floats]

    def factor(
        self, group: Group, left: Floats, shared: Survival, absent: Sequence[int] = ()
    ) -> Floats:
        """(D, T) the site's factor."""
        table = explained(group, self.private(absent), shared)
        factor = np.empty((table.shape[1], left.shape[1]))
        for reading, own in enumerate(table):
            states = np.flatnonzero(self.reading == reading)
            factor[:, states] = own @ left[:, states]
        return factor


class Sweep:
    """One connected part, swept in one world."""

    def __init__(self, plan: Plan, steps: Sequence[Step], world: World) -> None:
        self.plan, self.steps, self.world = plan, steps, world

    def forward(self, keep: bool = True) -> tuple[Floats, list[Trace]]:
        """(T) log probability of this part in each common state, and the traces if kept."""
        alpha = np.ones((1, len(self.world.block.rows)))
        scale = np.zeros(alpha.shape[1])
        traces = []
        for step in self.steps:
            if isinstance(step, Enter):
                trace = Trace(alpha, NOTHING)
                alpha = self.expand(alpha, step)
            else:
                trace = Trace(alpha, self._factors(step))
                alpha, taken_out = _rescaled(alpha * step.alike.spread(trace.product))
                scale += taken_out
            if keep:
                traces.append(trace)
        with np.errstate(divide="ignore"):
            return scale + np.log(alpha.sum(axis=0)), traces

    def expand(self, alpha: Floats, step: Enter) -> Floats:
        """(..., Q, T) the frontier after a bundle has joined it."""
        if step.bundle is None:
            return step.merging.summed(alpha)
        old, own = step.sources
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
        """(Q, T) what lies ahead, as the frontier before a bundle joined sees it."""
        beta = step.merging.spread(beta)
        if step.bundle is None:
            return beta
        weight = self.world.bundle_weight[step.bundle]
        pairs = beta.reshape(-1, step.states, beta.shape[-1])
        ahead: Floats = (pairs * weight).sum(axis=1) if weight.ndim == 2 else weight @ pairs
        return ahead


def backward(
    sweep: Sweep, traces: Sequence[Trace], posterior: Floats
) -> Iterator[tuple[int, Step, Trace, Floats, Floats]]:
    """Steps from last to first, each with the context that its own factor lacks.

    Yields
    ------
    (position, step, trace, behind, norm): ``behind`` is (Q, T) the weight of everything
    after the step; ``trace.before * behind * (the step's own part) * norm`` sums to
    ``posterior``, the (T) posterior of the common states.
    """
    beta = np.ones((1, len(posterior)))
    for k in range(len(sweep.steps) - 1, -1, -1):
        step, trace = sweep.steps[k], traces[k]
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
    """(R, ...) for each site the product of all the other sites' factors, without division."""
    if len(factors) == 1:
        return np.ones_like(factors)
    before, after = np.ones_like(factors), np.ones_like(factors)
    for r in range(1, len(factors)):
        np.multiply(before[r - 1], factors[r - 1], out=before[r])
        np.multiply(after[-r], factors[-r], out=after[-r - 1])
    before *= after
    return before


def _rescaled(alpha: Floats) -> tuple[Floats, Floats]:
    """Each common state's entries divided by the largest, once they become small.

    Also the (T) logs of what was taken out.
    """
    largest = alpha.max(axis=0)
    if largest.min() > SMALL:
        return alpha, np.zeros(len(largest))
    largest[largest == 0] = 1.0
    return alpha / largest, np.log(largest)
