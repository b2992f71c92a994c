"""A plan swept block by block of common states: log evidence, and every marginal too.

Common states are taken by what they can contribute at most, the greatest first; each block leaves
out what certainly cannot matter beside the evidence found by then.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import chain

import numpy as np

from diagnose.noisyor.budget import table
from diagnose.noisyor.course import twins
from diagnose.noisyor.explore import (
    LARGEST_LOG,
    LOWEST_LOG,
    Ceiling,
    Choose,
    at_most,
    explore,
    within,
)
from diagnose.noisyor.factor import FLOPS, Group, left_by_shared
from diagnose.noisyor.network import Floats, Ints, Network
from diagnose.noisyor.plan import NEGLIGIBLE, Plan, make_plan
from diagnose.noisyor.sweep import (
    Enter,
    Part,
    Step,
    Sweep,
    Trace,
    Visit,
    World,
    backward,
    others,
)

FIRST_BLOCK, GROWTH, LARGEST_BLOCK = 96, 3, 1024
"""How many common states the first block takes, how the next ones grow, and the most."""

SMALLEST_BLOCK = 12
"""How many common states a block takes even where frontiers are so wide that few would do."""

SMALL_SWEEP = 40_000
"""A block takes so many common states, or more, that its frontiers hold about so many weights."""

LARGEST_SWEEP = 6_000_000
"""About how many weights the frontiers of one block may hold all together."""

SCOUTED, SCOUTS = 24, 16
"""To find lower bounds: how many common states are looked at, with how many frontier states."""

INVISIBLE = 1e-12
"""A block of common states with less posterior than this cannot be seen in any marginal."""


class Solver:
    """A plan swept block by block, forward, and backward too when marginals are asked for.

    Common states are taken by what they can contribute at most, the greatest first: those
    of one block need much the same states of the shared bundles.
    """

    def __init__(self, plan: Plan, least: float = -np.inf) -> None:
        self.plan = plan
        polynomials = [family.polynomial for family in plan.families]
        self.polynomials = [group.rows(polynomials) for group in plan.groups]
        self.twins = twins(plan, self.polynomials)
        self._everything = plan.block(np.arange(len(plan.common.weight)))
        self.ceiling = Ceiling.of(plan, self._everything, self.polynomials)
        every = [course for alike in self.twins for course in alike]
        self._joins = sum(len(stop.joins) for course in every for stop in course)
        self._most = self._everything.log_weight + self.ceiling.total
        self._order = np.argsort(-self._most)
        self._floor = max(least - self.plan.apart, LOWEST_LOG)
        self._first = FIRST_BLOCK if self._joins else len(self._order)
        self._least = np.full((len(self.twins), len(self._order)), LOWEST_LOG)
        self._log_common = np.full(len(self._order), -np.inf)
        unsure = least == -np.inf or (len(every) > 1 and len(self._order) > SCOUTED)
        if self._joins and unsure:
            self._scout(self._order[:SCOUTED])

    def _scout(self, rows: Ints) -> None:
        """Lower bounds, from the best few states of some common ones."""
        most = max(len(shared.weight) for shared in self.plan.shared)
        scouted = self._swept(rows, at_most(max(SCOUTS, most)))
        self._first = max(FIRST_BLOCK, SMALL_SWEEP // max(scouted.states, 1))
        self._least[:, rows] = np.maximum(scouted.log_parts, LOWEST_LOG)
        self._raise(scouted.log_common)

    def _raise(self, log_common: Floats) -> None:
        """Know the evidence to be no less than that of some common states."""
        self._floor = max(self._floor, float(np.logaddexp.reduce(log_common)))

    @property
    def rows(self) -> Ints:
        """The common states that can matter, the heaviest at their best first.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> rows = [Finding(row, {"main": (1, 0.5)}, 0.2, present=True) for row in "ab"]
        >>> solver = Solver.of(Network.of([Variable("main", (0.75, 0.25))], rows))
        >>> solver.rows.tolist()  # 0.25 * 0.36 > 0.75 * 0.04
        [1, 0]
        """
        if not self._joins:
            return self._order
        share = np.exp(np.minimum(self._most[self._order] - self._floor, LARGEST_LOG))
        behind = np.cumsum(share[::-1])[::-1]
        few = int((behind > self.plan.negligible / 4).sum())
        return self._order[: max(few, 1)]

    def blocks(self, traced: bool = False) -> Iterator[Solved]:
        """All common states that can matter, swept; `Solved.collect` needs the traces.

        Blocks are large: whoever is done with one lets go of it before asking for the next.

        Of what may be left out the first block, which holds most, gets one half; the others get
        what is their part of the other half by their number of states.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> rows = [Finding(row, {"main": (1, 0.5)}, 0.2, present=True) for row in "ab"]
        >>> solver = Solver.of(Network.of([Variable("main", (0.5, 0.5))], rows))
        >>> [np.exp(solved.log_common).round(6).tolist() for solved in solver.blocks()]  # bad, good
        [[0.36, 0.04]]
        """
        done, size, every = 0, self._first, len(self.rows)
        while done < len(self.rows):
            rows = self.rows[done : done + size]
            share = self.plan.negligible / 8 * (len(rows) / every if done else 1.0)
            solved = self.explored(rows, share, traced)
            self._log_common[rows] = solved.log_common
            self._raise(self._log_common)
            states = max(solved.states, 1)
            yield solved
            del solved
            done += size
            most = max(LARGEST_SWEEP // states, SMALLEST_BLOCK)
            size = min(max(done * GROWTH, SMALL_SWEEP // states), LARGEST_BLOCK, most)

    def explored(self, rows: Ints, share: float, traced: bool = False) -> Solved:
        """Some common states, swept without what has at most this share of the evidence.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> rows = [Finding(p + row, {p: (1, 0.5)}, 0.2, True) for p in "AB" for row in "12"]
        >>> network = Network.of([Variable(pump, (0.5, 0.5)) for pump in "AB"], rows)
        >>> solved = Solver.of(network).explored(np.array([0]), share=0.0)
        >>> np.exp(solved.log_parts).round(6).tolist()  # of one of the twins: 0.2 ** 2 + 0.6 ** 2
        [[0.4]]
        >>> np.exp(solved.log_common).round(6).tolist()
        [0.16]
        """
        return self._swept(rows, within(share / max(2 * self._joins, 1)), traced)

    def _swept(self, rows: Ints, choose: Choose, traced: bool = False) -> Solved:
        """Some common states, swept over each connected part; of twins over the first alone.

        What is outside a part weighs what is known or bounded of it, set against the evidence;
        or, as no common state has more than all the posterior, one upon the part's own least.
        """
        block = self._everything.at(rows)
        weights = [shared.weight for shared in self.plan.shared]
        world = World(block, weights, self.polynomials)
        rest = self._most[rows] - self._floor
        parts = []
        for alike, least in zip(self.twins, self._least[:, rows], strict=True):
            ahead = self.ceiling.groups_ahead(alike[0], rows)
            whole = ahead[0] + self.ceiling.bundles_of(alike[0])
            outside = np.minimum(rest - whole, -least)
            part = explore(self.plan, world, alike[0], ahead + outside, outside, choose, traced)
            parts.append(part)
            rest = rest + len(alike) * (part.log_part - whole)
        return Solved(world, parts, [len(alike) for alike in self.twins])

    @classmethod
    def of(
        cls,
        network: Network,
        negligible: float = NEGLIGIBLE,
        least: float = -np.inf,
        kept: int = -1,
    ) -> Solver | None:
        """A solver, or None when the absent findings alone are impossible.

        ``least`` is a lower bound of the log evidence, if one is known; the finding ``kept``
        keeps all its variables (see `repeats`).

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> flu = Variable("flu", (0.5, 0.5))
        >>> one = Solver.of(Network.of([flu], [Finding("fever", {"flu": (1, 0)}, 0.5, False)]))
        >>> round(float(np.exp(one.log_evidence)), 6)
        0.25
        >>> Solver.of(Network.of([flu], [Finding("fever", {"flu": (1, 0)}, 1.0, False)])) is None
        True
        """
        plan = make_plan(network, negligible, least, kept)
        return None if plan is None else cls(plan, least)

    @cached_property
    def log_evidence(self) -> float:
        """Natural log of the probability of the present and absent findings.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> rows = [Finding(row, {"main": (1, 0.5)}, 0.2, present=True) for row in "ab"]
        >>> solver = Solver.of(Network.of([Variable("main", (0.75, 0.25))], rows))
        >>> round(float(np.exp(solver.log_evidence)), 6)  # 0.75 * 0.04 + 0.25 * 0.36
        0.12
        """
        if not np.isfinite(self._log_common).any():
            for solved in self.blocks():
                del solved
        largest = float(self._log_common.max())
        if largest == -np.inf:
            return largest
        found = float(np.log(np.exp(self._log_common - largest).sum()))
        return largest + found + self.plan.apart

    def marginals(self) -> Floats | None:
        """(states) posterior probability of every flat state; None when there is no evidence.

        What a block says is weighed against the evidence by then, while its sweeps are at hand.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> rows = [Finding(row, {"main": (1, 0.5)}, 0.2, present=True) for row in "ab"]
        >>> solver = Solver.of(Network.of([Variable("main", (0.75, 0.25))], rows))
        >>> solver.marginals().round(6).tolist()  # 0.75 * 0.04 to 0.25 * 0.36
        [0.25, 0.75]
        """
        messages = [np.zeros_like(family.polynomial) for family in self.plan.families]
        bundles = [np.zeros_like(shared.bundle.weight) for shared in self.plan.shared]
        known = self._floor
        for solved in self.blocks(traced=True):
            fade = np.exp(known - self._floor)
            for told in (*messages, *bundles):
                np.multiply(told, fade, out=told)
            known = self._floor
            share = np.exp(solved.log_common - known)
            if share.sum() > INVISIBLE:
                solved.collect(share, messages, bundles)
            del solved
        if self.log_evidence == -np.inf:
            return None
        self._tell_twins(messages, bundles)
        return self._normal(messages, bundles)

    def _tell_twins(self, messages: Sequence[Floats], bundles: Sequence[Floats]) -> None:
        """What was collected for the first of some twins holds for the others too."""
        groups = self.plan.groups
        alike = ((first, twin) for first, *rest in self.twins for twin in rest)
        for here, there in chain.from_iterable(zip(*pair, strict=True) for pair in alike):
            of, to = groups[here.group].members, groups[there.group].members
            for (family, row), (twin, own) in zip(of, to, strict=True):
                messages[twin][own] = messages[family][row]
            for join, same in zip(here.joins, there.joins, strict=True):
                if join.bundle is not None and same.bundle is not None:
                    bundles[same.bundle][:] = bundles[join.bundle]

    def _normal(self, messages: Sequence[Floats], bundles: Sequence[Floats]) -> Floats:
        """(states) probabilities, from what was collected for families and shared bundles."""
        weight = np.exp(self._log_common - self._log_common.max())
        found = self.plan.common.marginals(weight / weight.sum())
        for shared, states in zip(self.plan.shared, bundles, strict=True):
            found |= shared.bundle.marginals(states)
        weights, offsets = self.plan.weight.copy(), self.plan.network.offsets
        for v, states in found.items():
            weights[offsets[v] : offsets[v + 1]] = states
        for family, message in zip(self.plan.families, messages, strict=True):
            _spread(weights, offsets, family.variable, family.marginals(message))
        for v, same in self.plan.standing.items():
            weights[offsets[v] : offsets[v + 1]] = weights[offsets[same] : offsets[same + 1]]
        totals = np.add.reduceat(weights, offsets[:-1])
        normal: Floats = weights / np.repeat(totals, np.diff(offsets))
        return normal


class Solved:
    """One world, swept forward over connected parts of the plan; of some twins over one alone.

    ``times`` says for how many twins each part stands, ``states`` how many states the frontiers
    have all together.
    """

    def __init__(self, world: World, parts: Sequence[Part], times: Sequence[int]) -> None:
        self.world, self.parts = world, parts
        self.states = sum(part.sweep.states for part in parts)
        self.log_parts = np.reshape([part.log_part for part in parts], (-1, len(world.block.rows)))
        self.log_common: Floats = world.block.log_weight + np.array(times) @ self.log_parts

    @classmethod
    def along(cls, plan: Plan, world: World, steps: Sequence[list[Step]]) -> Solved:
        """A world swept along given steps, for each of some connected parts.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> rows = [Finding(p + row, {p: (1, 0.5)}, 0.2, True) for p in "AB" for row in "12"]
        >>> network = Network.of([Variable(pump, (0.5, 0.5)) for pump in "AB"], rows)
        >>> solver = Solver.of(network)
        >>> solved = solver.explored(np.array([0]), share=0.0)
        >>> again = Solved.along(solver.plan, solved.world, [solved.parts[0].sweep.steps])
        >>> np.exp(again.log_common).round(6).tolist()  # one of the twins alone
        [0.4]
        """
        parts = [Sweep(plan, some, world).forward() for some in steps]
        return cls(world, parts, [1] * len(parts))

    def collect(
        self, posterior: Floats, messages: Sequence[Floats], bundles: Sequence[Floats]
    ) -> None:
        """Add what this world says of the sites and of the shared bundles' states.

        Parameters
        ----------
        posterior: (T) posterior of this world's common states.
        messages: per family (R, N), added to.
        bundles: per shared bundle (states), added to.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> rows = [Finding(row, {"pump": (1, 0.5)}, 0.2, present=True) for row in "ab"]
        >>> rows.append(Finding("c", {}, 0.5, True))  # else the pump would be common
        >>> solver = Solver.of(Network.of([Variable("pump", (0.5, 0.5))], rows))
        >>> solved = solver.explored(np.array([0]), share=0.0, traced=True)
        >>> pump, sites = np.zeros(2), np.zeros((3, 2))
        >>> solved.collect(np.array([1.0]), [sites], [pump])
        >>> pump.round(6).tolist()  # 0.2 ** 2 to 0.6 ** 2
        [0.1, 0.9]
        """
        for part in self.parts:
            sweep = part.sweep
            for _, step, trace, behind, norm in backward(sweep, part.traces, posterior):
                if isinstance(step, Visit):
                    group = sweep.plan.groups[step.group]
                    left = self.world.block.left(group)
                    message = outside_message(group, left, step, trace, behind * norm)
                    for one, (family, row) in zip(message, group.members, strict=True):
                        messages[family][row] += one
                elif step.bundle is not None:
                    message = bundle_message(step, trace, behind, norm)
                    bundles[step.bundle] += self.world.bundle_weight[step.bundle] * message


def bundle_message(step: Enter, trace: Trace, behind: Floats, norm: Floats) -> Floats:
    """(states): the weight of everything else for each state of a bundle that enters.

    >>> from diagnose.noisyor.merging import Merging
    >>> enter = Enter(bundle=0, states=2, merging=Merging(np.arange(2), 2))
    >>> trace = Trace(np.array([[1.0]]), np.empty((0, 1, 1)))
    >>> bundle_message(enter, trace, np.array([[0.2], [0.6]]), np.array([0.5])).round(6).tolist()
    [0.1, 0.3]
    """
    pairs = step.merging.spread(behind).reshape(len(trace.before), step.states, -1)
    message: Floats = (pairs @ (trace.before * norm)[..., None]).sum(axis=0)[:, 0]
    return message


def outside_message(
    group: Group, left: Floats, step: Visit, trace: Trace, behind: Floats
) -> Floats:
    """(sites, N): the outside's weight for what it leaves each site of a group to explain.

    >>> from diagnose.noisyor.factor import Column, Survival
    >>> from diagnose.noisyor.merging import Merging
    >>> once = Group((Column(0, 0, 0.0),), (1,), (), (0, 1), ((0, 0), (0, 1)))
    >>> visit = Visit(0, Survival.of(np.zeros((1, 1))), Merging(np.arange(1), 1))
    >>> trace = Trace(np.array([[0.5]]), np.array([[[0.2]], [[0.4]]]))  # 0.5 * 0.4, 0.5 * 0.2
    >>> told = outside_message(once, np.array([[0.25], [0.75]]), visit, trace, np.ones((1, 1)))
    >>> told.round(6).tolist()
    [[0.05, 0.15], [0.025, 0.075]]
    """
    table(trace.factors.size, 1.0 + len(left) / FLOPS)
    context = step.alike.summed(trace.before * behind)
    return left_by_shared(group, (others(trace.factors) * context) @ left.T, step.shared)


def _spread(weights: Floats, offsets: Ints, variable: Ints, states: Floats) -> None:
    """Write padded (R, V, S) state weights into the flat array."""
    sizes = np.append(np.diff(offsets), 0)[variable]
    state = np.arange(states.shape[-1])
    real = state < sizes[..., None]
    weights[(offsets[variable][..., None] + state)[real]] = states[real]
