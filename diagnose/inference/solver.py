"""Log evidence and all marginals of a decomposed network, and what they may be off by.

States of the cutset are taken block by block, those first that can matter most; each block leaves
out what certainly cannot matter beside the evidence found by then.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.inference.budget import left, within
from diagnose.inference.cutset import Bounds, cutset
from diagnose.inference.decomposition import Decomposition
from diagnose.inference.elimination import Block, Frontier, Messages, elimination_order
from diagnose.inference.pruning import LOWEST_LOG, Pruner

NEGLIGIBLE = 1e-9
"""All joint states left out together certainly carry less than this share of the evidence."""

PER_ENTRY = 8
"""What each entry of a forward pass takes with the pass backward, and besides."""

SCOUTS = 24
"""To find a lower bound: how many states of the cutset and of the frontier are looked at."""

FIRST_BLOCK, GROWTH, LARGEST_BLOCK = 96, 3, 1024
"""How many states of the cutset the first block takes, how the next ones grow, and the most.

Light states meet only the heavier states of the frontier: all 24 rows failing take 59 ms in blocks
and 103 ms in one.
"""

SMALL_FRONTIER = 40_000
"""A block takes so many states of the cutset that its frontiers hold about so many weights."""


class Solver:
    """A network solved by pruned forward passes over blocks of the cutset.

    Parameters
    ----------
    plan: the network, taken apart.
    negligible: the share of the evidence that may be left out. Where that takes too many table
        entries (see `budget`) more is: `left_out` says how much.
    floor: a lower bound of the log evidence, if one is known.
    labels: of states of the cutset, see `cutset`.
    """

    def __init__(
        self,
        plan: Decomposition,
        negligible: float = NEGLIGIBLE,
        floor: float = -np.inf,
        labels: Mapping[int, Ints] | None = None,
    ) -> None:
        self.plan, self.negligible = plan, negligible
        self.order = elimination_order(plan)
        self.turns = 2 * len(plan.narrow) + len(plan.groups) + 1
        self._limit, self._spent = left(), 0.0
        with within(np.inf) as spent:
            bounds = Bounds(plan)
            shared = plan.wide or plan.narrow
            self.floor = max(bounds.lowest(plan) if shared else LOWEST_LOG, floor - plan.apart)
            self._pruners = [Pruner(self.floor, negligible / 4 / (len(plan.wide) + 1))]
            room = self._limit / (4 + len(plan.wide) / 4)
            self.cutset, self.conditions = cutset(plan, bounds, self._pruners[0], room, labels)
            size = len(self.cutset.weight)
            self.log_joint = np.full(size, -np.inf)
            self._first, self._done = size, 0
            if plan.narrow:
                self._scout(np.arange(min(SCOUTS, size)))
        self._spent += spent.spent

    def _scout(self, rows: Ints) -> None:
        """A lower bound, from the best states of the cutset and few of the frontier."""
        scouted = self.forward(rows, Pruner(self.floor, 0.0, SCOUTS))
        self._first = max(FIRST_BLOCK, SMALL_FRONTIER // max(scouted.states, 1))
        self.floor = max(self.floor, float(np.logaddexp.reduce(scouted.log_joint)))

    def forward(self, rows: Ints, pruner: Pruner, taped: bool = False) -> Frontier:
        """The forward pass of some states of the cutset."""
        found = self.cutset
        with np.errstate(divide="ignore"):
            log_weight = np.log(found.weight[rows])
        block = Block(
            order=self.order,
            conditions=self.conditions.at(rows),
            log_weight=log_weight,
            bounds=found.bounds[:, rows],
            room=(self._limit - self._spent) / PER_ENTRY,
        )
        return Frontier(self.plan, block, pruner, taped)

    def _blocks(self, taped: bool) -> Iterator[tuple[Ints, Frontier]]:
        """All states of the cutset that can matter, passed forward while the budget lasts.

        Of what may be left out the first block, which holds most, gets one half; the others get
        what is their part of the other half by their number of states.
        """
        size, every = self._first, self._matter()
        while self._done < self._matter() and (not self._done or self._spent < self._limit / 2):
            rows = np.arange(self._done, min(self._done + size, self._matter()))
            share = self.negligible / 4 * (len(rows) / every if self._done else 1.0)
            pruner = Pruner(self.floor, share / self.turns)
            self._pruners.append(pruner)
            with within(np.inf) as spent:
                found = self.forward(rows, pruner, taped)
                self.log_joint[rows] = found.log_joint
                self.floor = max(self.floor, float(np.logaddexp.reduce(self.log_joint)))
                states = max(found.states, 1)
                yield rows, found
            del found
            self._spent += spent.spent
            self._done += len(rows)
            size = min(max(self._done * GROWTH, SMALL_FRONTIER // states), LARGEST_BLOCK)

    def _matter(self) -> int:
        """How many states of the cutset can matter beside the evidence known."""
        share = np.exp(np.minimum(self.cutset.most - self.floor, 600.0))
        behind = np.cumsum(share[::-1])[::-1]
        return max(int((behind > self.negligible / 4).sum()), 1)

    def solve(self, taped: bool = True) -> Solver:
        """Pass all blocks forward, and backward too where marginals are wanted."""
        self.messages = Messages(self.plan)
        known = self.floor
        for rows, found in self._blocks(taped):
            if taped:
                self.messages.fade(float(np.exp(known - self.floor)))
                known = self.floor
                self.messages.add(found, np.exp(self.log_joint[rows] - known))
        self.log_evidence = float(np.logaddexp.reduce(self.log_joint))
        return self

    @property
    def left_out(self) -> float:
        """The share of the evidence found that all states left out carry at most."""
        rest = np.logaddexp.reduce(self.cutset.most[self._done :], initial=-np.inf)
        logs = [float(rest), *(pruner.log_lost for pruner in self._pruners)]
        return float(np.exp(np.minimum(np.logaddexp.reduce(logs) - self.log_evidence, 600.0)))

    def marginals(self) -> Floats:
        """(states) posterior probability of every flat state."""
        plan, offsets = self.plan, self.plan.network.offsets
        posterior = np.exp(self.log_joint - self.log_evidence)
        weights = plan.weight.copy()
        for v, states in {**self.cutset.marginals(posterior), **self.messages.narrow}.items():
            weights[offsets[v] : offsets[v + 1]] = states
        for family, message in zip(plan.families, self.messages.families, strict=True):
            _spread(weights, offsets, family.variable, family.marginals(message))
        totals = np.add.reduceat(weights, offsets[:-1])
        totals = np.repeat(totals, np.diff(offsets))
        normal: Floats = np.divide(weights, totals, out=np.zeros_like(weights), where=totals > 0)
        return normal


def _spread(weights: Floats, offsets: Ints, variable: Ints, states: Floats) -> None:
    """Write padded (R, V, S) state weights into the flat array."""
    sizes = np.append(np.diff(offsets), 0)[variable]
    state = np.arange(states.shape[-1])
    real = state < sizes[..., None]
    weights[(offsets[variable][..., None] + state)[real]] = states[real]
