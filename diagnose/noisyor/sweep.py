"""Forward and backward over one connected part of the plan.

Given a state of the common bundle, parts of the plan that share no bundle are independent.
Within one, the sweep visits its groups in order and carries a *frontier*: one weight for
every joint state of the shared bundles that later groups still need, for every common
state. States that later groups cannot tell apart are merged. Cost is linear in the groups.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import log

import numpy as np

from diagnose.noisyor.bundle import merged
from diagnose.noisyor.factor import Survival, contract, group_terms
from diagnose.noisyor.network import Floats, Ints
from diagnose.noisyor.plan import Block, Plan, Shared


@dataclass(frozen=True)
class Enter:
    """A shared bundle joins the frontier: (old state, bundle state) pairs go ``into`` new ones.

    Without a bundle, states that no later group tells apart are merged. Pairs too light to
    matter go nowhere: their ``into`` is ``size``, one past the last state. ``states`` is how
    many states the bundle has (1 without a bundle).
    """

    bundle: int | None
    states: int
    into: Ints
    size: int
    order: Ints | None = None
    starts: Ints | None = None

    def gathered(self, pairs: Floats) -> Floats:
        """(..., size) from (..., pairs): pairs that go into one state are added up."""
        if self.order is None or self.starts is None:
            return pairs
        summed: Floats = np.add.reduceat(pairs[..., self.order], self.starts, axis=-1)
        return summed


@dataclass(frozen=True)
class Visit:
    """A group's factor is applied; ``shared`` are the frontier's survivals."""

    group: int
    shared: Survival


Step = Enter | Visit


NOTHING: Floats = np.empty((0, 1, 1))
"""Factors and terms of a step that visits no group."""


@dataclass(frozen=True)
class Trace:
    """What the forward sweep leaves for the backward one at a step.

    Parameters
    ----------
    before: (T, Q) the frontier when the step begins.
    factors: (sites, T, Q) of a visited group; for a bundle that enters there are none.
    terms: (N, T, Q) of a visited group.
    """

    before: Floats
    factors: Floats
    terms: Floats

    @property
    def product(self) -> Floats:
        """(T, Q) the product of all factors."""
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
            steps += [merge] if merge.order is not None else []
        for b in coming:
            joined = logs[:, None, :] + _widened(shared[b], logs.shape[1])
            pairs = (weight[:, None] * shared[b].weight).ravel()
            joined = joined.reshape(-1, logs.shape[1])
            step, logs, weight = _join(b, len(shared[b].weight), joined, pairs, remaining, spare)
            steps.append(step)
        steps.append(Visit(g, Survival.of(logs)))
    return steps


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
    if len(first) == len(joined):
        return Enter(bundle, states, into, len(first)), joined, pairs
    order = np.argsort(into, kind="stable")
    starts = np.searchsorted(into[order], np.arange(len(first) + 1))
    step = Enter(bundle, states, into, len(first), order[: starts[-1]], starts[:-1])
    return step, joined[first], weight


@dataclass(frozen=True)
class World:
    """One block of common states, with what is particular to it.

    Parameters
    ----------
    block: T common states and the shared bundles they are met with.
    bundle_weight: per shared bundle (states), or (T, states) where they differ by row.
    polynomial: per group (sites, N), or (sites, T, N).
    """

    block: Block
    bundle_weight: Sequence[Floats]
    polynomial: Sequence[Floats]


class Sweep:
    """One connected part, swept in one world."""

    def __init__(self, plan: Plan, steps: Sequence[Step], world: World) -> None:
        self.plan, self.steps, self.world = plan, steps, world

    def forward(self, keep: bool = True) -> tuple[Floats, list[Trace]]:
        """(T) log probability of this part in each common state, and the traces if kept."""
        alpha = np.ones((len(self.world.block.rows), 1))
        scale = np.zeros(len(alpha))
        traces = []
        for step in self.steps:
            if isinstance(step, Enter):
                trace = Trace(alpha, NOTHING, NOTHING)
                alpha = self.expand(alpha, step)
            else:
                trace = self._visit(alpha, step)
                alpha = alpha * trace.product
                scale += _rescale(alpha)
            if keep:
                traces.append(trace)
        with np.errstate(divide="ignore"):
            return scale + np.log(alpha.sum(axis=1)), traces

    def expand(self, alpha: Floats, step: Enter) -> Floats:
        """(..., T, Q) the frontier after a bundle has joined it."""
        weight = self._weight(step)
        pairs = alpha[..., None] * (weight if weight.ndim == 1 else weight[:, None, :])
        return step.gathered(pairs.reshape(*alpha.shape[:-1], -1))

    def _weight(self, step: Enter) -> Floats:
        return np.ones(1) if step.bundle is None else self.world.bundle_weight[step.bundle]

    def _visit(self, alpha: Floats, step: Visit) -> Trace:
        group = self.plan.groups[step.group]
        terms = group_terms(group, self.world.block.common, step.shared)
        return Trace(alpha, contract(self.world.polynomial[step.group], terms), terms)

    def collapse(self, beta: Floats, step: Enter) -> Floats:
        """What lies ahead, as the frontier before a bundle joined sees it."""
        weight = self._weight(step)
        if step.starts is not None:
            beta = np.concatenate([beta, np.zeros((len(beta), 1))], axis=1)[:, step.into]
        pairs = beta.reshape(len(beta), -1, weight.shape[-1])
        summed: Floats = (pairs * (weight if weight.ndim == 1 else weight[:, None, :])).sum(axis=2)
        return summed


def backward(
    sweep: Sweep, traces: Sequence[Trace], posterior: Floats
) -> Iterator[tuple[int, Step, Trace, Floats, Floats]]:
    """Steps from last to first, each with the context that its own factor lacks.

    Yields
    ------
    (position, step, trace, behind, norm): ``behind`` is (T, Q) the weight of everything
    after the step; ``trace.before * behind * (the step's own part) * norm[:, None]`` sums to
    ``posterior``, the (T) posterior of the common states.
    """
    beta = np.ones((len(posterior), 1))
    for k in range(len(sweep.steps) - 1, -1, -1):
        step, trace = sweep.steps[k], traces[k]
        if isinstance(step, Enter):
            ahead = sweep.collapse(beta, step)
            total = (trace.before * ahead).sum(axis=1)
        else:
            if beta.shape[1] == 1:
                beta = np.broadcast_to(beta, trace.before.shape)
            ahead = beta * trace.product
            total = (trace.before * ahead).sum(axis=1)
        norm = np.divide(posterior, total, out=np.zeros_like(total), where=total > 0)
        yield k, step, trace, beta, norm
        beta = ahead.copy()
        _rescale(beta)


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


def _rescale(alpha: Floats) -> Floats:
    """Divide each row by its largest entry, in place; the logs of what was taken out."""
    largest = alpha.max(axis=1)
    largest[largest == 0] = 1.0
    alpha /= largest[:, None]
    logs: Floats = np.log(largest)
    return logs
