"""Log evidence, every marginal and joint probabilities of a noisy-OR network."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diagnose.noisyor.factor import Group, left_by_shared
from diagnose.noisyor.network import Floats, Ints, Network
from diagnose.noisyor.plan import FIRST_BLOCK, NEGLIGIBLE, Block, Plan, make_plan
from diagnose.noisyor.sweep import (
    Enter,
    Step,
    Sweep,
    Trace,
    Visit,
    World,
    backward,
    components,
    others,
)

INVISIBLE = 1e-12
"""A block of common states with less posterior than this cannot be seen in any marginal."""


@dataclass(frozen=True)
class Posterior:
    """Beliefs given all present and absent findings; open findings do not count.

    Parameters
    ----------
    network: what was asked about.
    log_evidence: natural log of the probability of the findings; -inf when impossible.
    flat: (states) posterior probability of every flat state.
    """

    network: Network
    log_evidence: float
    flat: Floats

    def marginal(self, name: str) -> Floats:
        """Posterior probability of each state of the variable ``name``."""
        v = self.network.index(name)
        return self.flat[self.network.offsets[v] : self.network.offsets[v + 1]]

    def probability(self, states: Mapping[str, Sequence[int]]) -> float:
        """Joint posterior probability that every named variable is in one of the states."""
        joint = log_evidence(self.network.restricted(states))
        return float(np.exp(joint - self.log_evidence))


def posterior(network: Network) -> Posterior:
    """The exact posterior of a network.

    With evidence of probability zero ``log_evidence`` is -inf and ``flat`` is all zero:
    see `conflict` for which findings cannot stand together.

    >>> from diagnose.noisyor.network import Finding, Variable
    >>> network = Network.of(
    ...     [Variable("cold", (0.8, 0.2)), Variable("flu", (0.9, 0.1))],
    ...     [Finding("fever", {"cold": (1, 0.6), "flu": (1, 0.2)}, present=True)],
    ... )
    >>> posterior(network).marginal("flu").round(5).tolist()
    [0.46875, 0.53125]
    """
    observed = network.observed()
    solver = Solver.of(observed)
    if solver is None or solver.log_evidence == -np.inf:
        return Posterior(network, -np.inf, np.zeros(network.states))
    return Posterior(network, solver.log_evidence, solver.marginals())


def log_evidence(network: Network) -> float:
    """Natural log of the probability of the findings alone (half the work of `posterior`)."""
    solver = Solver.of(network.observed())
    return -np.inf if solver is None else solver.log_evidence


def conflict(network: Network) -> tuple[str, ...]:
    """A smallest set of findings that cannot stand together; empty when all can.

    Leaving out any one of them makes the rest possible (deletion-based, one pass).

    >>> from diagnose.noisyor.network import Finding, Variable
    >>> sure = {"flu": (1.0, 0.0)}
    >>> conflict(Network.of([Variable("flu", (0.5, 0.5))], [
    ...     Finding("a", sure, present=True), Finding("b", sure, present=False)]))
    ('a', 'b')
    """
    network = network.observed()
    if log_evidence(network) > -np.inf:
        return ()
    f = 0
    while f < len(network.finding_names):
        fewer = network.without([f])
        if log_evidence(fewer) == -np.inf:
            network = fewer
        else:
            f += 1
    return network.finding_names


class Solver:
    """A plan swept block by block: forward at once, backward when marginals are asked for."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        polynomials = [family.polynomial for family in plan.families]
        self.polynomials = [group.rows(polynomials) for group in plan.groups]
        ordered: dict[float, list[list[Step]]] = {}
        self.blocks = []
        for block in plan.blocks():
            if block.spare not in ordered:
                ordered[block.spare] = list(components(plan, block))
            self.blocks.append(Solved(plan, self._world(block), ordered[block.spare]))

    @classmethod
    def of(cls, network: Network, negligible: float = NEGLIGIBLE) -> Solver | None:
        """A solver, or None when the absent findings alone are impossible."""
        plan = make_plan(network, negligible)
        return None if plan is None else cls(plan)

    def _world(self, block: Block) -> World:
        return World(block, [shared.weight for shared in block.shared], self.polynomials)

    @cached_property
    def log_common(self) -> Floats:
        """(T) log weight of every common state with all that depends on it, summed."""
        logs = np.full(len(self.plan.common.weight), -np.inf)
        for solved in self.blocks:
            logs[solved.world.block.rows] = solved.log_common
        return logs

    @cached_property
    def log_evidence(self) -> float:
        """Natural log of the probability of the present and absent findings."""
        largest = float(self.log_common.max())
        if largest == -np.inf:
            return largest
        free = np.add.reduceat(self.plan.weight, self.plan.network.offsets[:-1])[self.plan.free]
        rest = float(np.log(free).sum()) + self.plan.log_constant
        return largest + float(np.log(np.exp(self.log_common - largest).sum())) + rest

    @cached_property
    def common_posterior(self) -> Floats:
        """(T) posterior of the common states."""
        weight = np.exp(self.log_common - self.log_common.max())
        normal: Floats = weight / weight.sum()
        return normal

    def marginals(self) -> Floats:
        """(states) posterior probability of every flat state."""
        messages = [np.zeros_like(family.polynomial) for family in self.plan.families]
        bundles = [np.zeros_like(shared.bundle.weight) for shared in self.plan.shared]
        for solved in self.blocks:
            share = self.common_posterior[solved.world.block.rows]
            if share.sum() > INVISIBLE:
                solved.collect(share, messages, bundles)
        found = self.plan.common.marginals(self.common_posterior)
        for shared, states in zip(self.plan.shared, bundles, strict=True):
            found |= shared.bundle.marginals(states)
        weights, offsets = self.plan.weight.copy(), self.plan.network.offsets
        for v, states in found.items():
            weights[offsets[v] : offsets[v + 1]] = states
        for family, message in zip(self.plan.families, messages, strict=True):
            _spread(weights, offsets, family.variable, family.marginals(message))
        totals = np.add.reduceat(weights, offsets[:-1])
        normal: Floats = weights / np.repeat(totals, np.diff(offsets))
        return normal


class Solved:
    """One world, swept forward over every connected part of the plan."""

    def __init__(self, plan: Plan, world: World, parts: Sequence[Sequence[Step]]) -> None:
        self.plan, self.world = plan, world
        self.sweeps = [Sweep(plan, steps, world) for steps in parts]
        small = len(world.block.rows) <= 4 * FIRST_BLOCK
        forwards = [sweep.forward(keep=small) for sweep in self.sweeps]
        self._traces = [traces for _, traces in forwards]
        self.log_parts = [part for part, _ in forwards]
        self.log_common: Floats = world.block.log_weight + sum(self.log_parts)

    def traces(self, number: int) -> list[Trace]:
        """The forward traces of one connected part."""
        return self._traces[number] or self.sweeps[number].forward()[1]

    def collect(
        self, posterior: Floats, messages: Sequence[Floats], bundles: Sequence[Floats]
    ) -> None:
        """Add what this world says of the sites and of the shared bundles' states.

        Parameters
        ----------
        posterior: (T) posterior of this world's common states.
        messages: per family (R, N), added to.
        bundles: per shared bundle (states), added to.
        """
        for number, sweep in enumerate(self.sweeps):
            for _, step, trace, behind, norm in backward(sweep, self.traces(number), posterior):
                if isinstance(step, Visit):
                    group = self.plan.groups[step.group]
                    left = self.world.block.left(group)
                    message = outside_message(group, left, step, trace, behind * norm)
                    for one, (family, row) in zip(message, group.members, strict=True):
                        messages[family][row] += one
                elif step.bundle is not None:
                    kept = self.world.block.shared[step.bundle].kept
                    weight = self.world.bundle_weight[step.bundle]
                    bundles[step.bundle][kept] += weight * bundle_message(step, trace, behind, norm)


def bundle_message(step: Enter, trace: Trace, behind: Floats, norm: Floats) -> Floats:
    """(states): the weight of everything else for each state of a bundle that enters."""
    pairs = step.merging.spread(behind).reshape(len(trace.before), step.states, -1)
    message: Floats = (pairs @ (trace.before * norm)[..., None]).sum(axis=0)[:, 0]
    return message


def outside_message(
    group: Group, left: Floats, step: Visit, trace: Trace, behind: Floats
) -> Floats:
    """(sites, N): the outside's weight for what it leaves each site of a group to explain."""
    context = step.alike.summed(trace.before * behind)
    return left_by_shared(group, (others(trace.factors) * context) @ left.T, step.shared)


def _spread(weights: Floats, offsets: Ints, variable: Ints, states: Floats) -> None:
    """Write padded (R, V, S) state weights into the flat array."""
    sizes = np.where(variable >= 0, np.diff(offsets)[variable], 0)
    state = np.arange(states.shape[-1])
    real = state < sizes[..., None]
    weights[(offsets[variable][..., None] + state)[real]] = states[real]
