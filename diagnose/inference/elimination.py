"""Frontier elimination: forward and backward along an order of visits.

Groups of batches are visited one after another. The *frontier* is the joint state of the narrow
variables that later visits still need: a table (Q, T) with a row for each of its states, a
column for each state of the cutset. A variable is introduced before the first group that has it,
and forgotten behind the last: states that nothing later tells apart are aggregated.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from math import log, prod

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.inference.aggregation import FLOOR, aggregated, group_equal, spread
from diagnose.inference.budget import STEP, table
from diagnose.inference.cutset import Conditions, explained, met_by
from diagnose.inference.decomposition import Decomposition, Part, VisitGroup
from diagnose.inference.expansion import Survival, apply_transition, leave_one_out, survival
from diagnose.inference.pruning import LOWEST_LOG, Pruner
from diagnose.record import record

_SMALL = 1e-30
"""Weights are scaled up when the largest of some state of the cutset falls below this."""

MORE = 4
"""So many times the states that there is room for may remain until their worth is known better."""

VANISHED = 1e-200
"""Weights below this, beside a largest one above `_SMALL`, are taken for zero."""


@record
class Turn:
    """A group is visited, after some variables were introduced.

    ``needed`` are the narrow columns of this group and all later ones, ``later`` without this one.
    """

    group: int
    parts: tuple[Part, ...]
    needed: frozenset[int]
    later: frozenset[int]


def elimination_order(plan: Decomposition) -> tuple[Turn, ...]:
    """The next group is always one near the frontier that multiplies its states least.

    Of several the one whose variables serve the fewest groups: what it brings can be forgotten
    soonest. Near are groups that share a variable with the frontier, and groups that share one
    with these: where hoses feed row after row, the row fed first comes before those behind it.
    """
    serving = [
        {g for g, group in enumerate(plan.groups) if not group.columns.isdisjoint(columns)}
        for columns in (part.columns.tolist() for part in plan.narrow)
    ]
    touching = {
        g: [v for v, some in enumerate(serving) if g in some] for g in range(len(plan.groups))
    }
    beside = {g: {other for v in mine for other in serving[v]} for g, mine in touching.items()}
    left, active, near = set(touching), set[int](), set[int]()
    turns, parts = [], []

    def place(g: int) -> tuple[int, int, int]:
        new = [v for v in touching[g] if v not in active]
        return (
            prod(len(plan.narrow[v].weight) for v in new),
            sum(len(serving[v]) for v in touching[g]),
            g,
        )

    while left:
        candidates = near | {other for g in near for other in beside[g] & left} or left
        chosen = min(candidates, key=place)
        left.discard(chosen)
        turns.append(chosen)
        parts.append(tuple(plan.narrow[v] for v in touching[chosen] if v not in active))
        active.update(touching[chosen])
        near = (near | beside[chosen]) & left
    columns = [plan.groups[g].columns for g in turns]
    after = [frozenset[int]().union(*columns[k:]) for k in range(len(turns) + 1)]
    return tuple(map(Turn, turns, parts, after, after[1:]))


@record
class Introduced:
    """Trace of a variable: the frontier before, the (old state, own state) pairs, where they went
    (one past the last: nowhere).
    """

    part: Part
    before: Floats
    old: Ints
    own: Ints
    into: Ints

    def at(self, rows: Ints) -> Introduced:
        """The same with only some states of the cutset."""
        return replace(self, before=self.before[:, rows])


@record
class Visited:
    """Trace of a group: the frontier before, the factors (batches, D, T) and their product.

    ``told`` says which of the D states each has, ``narrow`` their survivals, in the columns that
    ``place`` says, ``into`` where it went behind the visit (one past
    the last: nowhere), ``taken`` (T) what was divided out.
    """

    group: int
    before: Floats
    narrow: Survival
    place: Mapping[int, int]
    told: Ints
    factors: Floats
    product: Floats
    into: Ints
    taken: Floats

    def at(self, rows: Ints) -> Visited:
        """The same with only some states of the cutset."""
        return replace(
            self,
            before=self.before[:, rows],
            factors=self.factors[..., rows],
            product=self.product[:, rows],
            taken=self.taken[rows],
        )


@record
class Block:
    """States of the cutset that go together, log bounds as in `Cutset`, and the order of visits.

    ``room`` is how many table entries there may be.
    """

    order: Sequence[Turn]
    conditions: Conditions
    log_weight: Floats
    bounds: Floats
    room: float


class Frontier:
    """The frontier on its way forward; ``tape`` keeps the traces when marginals are wanted."""

    def __init__(
        self, plan: Decomposition, block: Block, pruner: Pruner, taped: bool = False
    ) -> None:
        self.plan, self.pruner, self.taped = plan, pruner, taped
        self.conditions = block.conditions
        self.alpha = np.ones((1, self.conditions.size))
        self.scale = block.log_weight
        self.logs, self.columns = np.zeros((1, 0)), list[int]()
        self.tape: list[Introduced | Visited] = []
        self._bounds = block.bounds
        to_come = sum(log(part.weight.sum()) for part in plan.narrow)
        self.ahead = block.bounds.sum(axis=0) + to_come
        self._worst: Floats = np.zeros(plan.narrow_columns)
        for part in plan.narrow:
            self._worst[part.columns] += part.logs.min(axis=0)
        self.states, self._room, self._waiting = 0, block.room, list(block.order)
        for turn in block.order:
            for part in turn.parts:
                self._introduce(part, turn.needed)
            del self._waiting[0]
            self._visit(turn)
        with np.errstate(divide="ignore"):
            self.log_joint = self.scale + np.log(self.alpha.sum(axis=0))

    def _worth(self) -> Floats:
        """(Q) what each state can contribute at most."""
        return self.alpha @ self.pruner.worth(self.scale + self.ahead)

    def _take(self, entries: float) -> None:
        self._room -= entries
        table(entries, 2.0, STEP)

    def _introduce(self, part: Part, needed: frozenset[int]) -> None:
        self.ahead = self.ahead - log(part.weight.sum())
        self._worst[part.columns] -= part.logs.min(axis=0)
        worth = (self._worth()[:, None] * part.weight).ravel()
        old, own = np.divmod(self.pruner.keep(worth, MORE * self._most()), len(part.weight))
        before = self.columns
        self.columns = sorted(needed & {*before, *part.columns.tolist()})
        place = {column: k for k, column in enumerate(self.columns)}
        self._take(len(old) * (self.conditions.size + 2 * len(place) + 4))
        logs = np.zeros((len(old), len(self.columns)))
        for k, column in enumerate(before):
            if column in place:
                logs[:, place[column]] = self.logs[old, k]
        for k, column in enumerate(part.columns.tolist()):
            if column in place:
                logs[:, place[column]] += part.logs[own, k]
        first, into = group_equal(logs)
        trace = self.alpha
        pairs = self.alpha[old]
        pairs *= part.weight[own, None]
        self.alpha = aggregated(pairs, into, len(first))
        self.logs = np.maximum(logs[first], FLOOR)
        into = self._reduced(into)
        if self.taped:
            self.tape.append(Introduced(part, trace, old, own, into))

    def _visit(self, turn: Turn) -> None:
        group = self.plan.groups[turn.group]
        first, told, narrow, place = self._told(group.columns)
        polynomials = self.plan.families[group.family].polynomial[group.rows]
        left = self.conditions.left(group)
        self._take(len(group.rows) * len(first) * self.conditions.size * (1.0 + len(left) / 8))
        factors = explained(group, polynomials, narrow, place) @ left
        self.states += len(self.alpha)
        self._take(self.alpha.size)
        before, product = self.alpha, np.multiply.reduce(factors)
        self.alpha = before * product[told]
        self.ahead = self.ahead - self._bounds[turn.group]
        taken = self._rescale()
        into = self._reduced(self._forget(turn.later))
        if self.taped:
            trace = Visited(turn.group, before, narrow, place, told, factors, product, into, taken)
            self.tape.append(trace)

    def _told(
        self, columns: frozenset[int], worst: Floats | None = None
    ) -> tuple[Ints, Ints, Survival, Mapping[int, int]]:
        """The states that some columns tell apart: an example of each, which, their survivals.

        ``worst`` are log survivals of what is yet to be introduced, by column.
        """
        known = sorted(columns.intersection(self.columns))
        every = known if worst is None else sorted(columns)
        at = [self.columns.index(column) for column in known]
        first, told = group_equal(self.logs[:, at])
        logs = np.zeros((len(first), len(every) + 1))
        logs[:, [every.index(column) for column in known]] = self.logs[first][:, at]
        if worst is not None:
            logs[:, :-1] += worst[every]
        place = {c: every.index(c) if c in every else len(every) for c in columns}
        return first, told, survival(logs), place

    def _most(self) -> float:
        """How many states there is room for: what each takes is its weights and its columns."""
        each = self.conditions.size + 4 * len(self.columns) + 8
        return max(self._room, 0.0) / each / (4 + len(self._waiting) / 2)

    def _reduced(self, into: Ints) -> Ints:
        """Leave out states that there is no room for; where ``into`` goes then."""
        most = self._most()
        if len(self.alpha) <= most:
            return into
        kept = self.pruner.keep(self._tight_worth(), most)
        number = np.full(len(self.alpha) + 1, len(kept))
        number[kept] = np.arange(len(kept))
        self.alpha, self.logs = self.alpha[kept], self.logs[kept]
        moved: Ints = number[into]
        return moved

    def _tight_worth(self) -> Floats:
        """(Q) what each state can contribute at most, given what it says of the groups ahead."""
        ahead = np.broadcast_to(self.scale + self.ahead, self.alpha.shape).copy()
        for turn in self._waiting:
            group = self.plan.groups[turn.group]
            if not group.columns.isdisjoint(self.columns):
                _, told, narrow, place = self._told(group.columns, self._worst)
                polynomials = self.plan.families[group.family].polynomial[group.rows]
                factors = explained(group, polynomials, narrow, place) @ self.conditions.left(group)
                with np.errstate(divide="ignore"):
                    bound = np.maximum(np.log(factors).sum(axis=0), LOWEST_LOG)
                self._take(bound.size + ahead.size)
                ahead += (bound - self._bounds[turn.group])[told]
        worth: Floats = (self.alpha * self.pruner.worth(ahead)).sum(axis=1)
        return worth

    def _rescale(self) -> Floats:
        """Divide each column by its largest weight, once that is small; what was taken out."""
        largest = self.alpha.max(axis=0)
        if largest.min() > _SMALL:
            largest = np.ones_like(largest)
        else:
            largest[largest == 0] = 1.0
            self.alpha /= largest
            self.scale = self.scale + np.log(largest)
        if self.alpha.min() < VANISHED:
            self.alpha[self.alpha < VANISHED] = 0.0
        return np.asarray(largest)

    def _forget(self, later: frozenset[int]) -> Ints:
        """Leave out what has become too light; aggregate what nothing later tells apart."""
        kept = self.pruner.keep(self._worth(), MORE * self._most())
        stay = [k for k, column in enumerate(self.columns) if column in later]
        logs = self.logs[kept][:, stay]
        first, merged = group_equal(logs)
        into = np.full(len(self.alpha), len(first))
        into[kept] = merged
        if len(first) < len(self.alpha):
            self.alpha = aggregated(self.alpha, into, len(first))
        self.logs, self.columns = logs[first], [self.columns[k] for k in stay]
        return into


def backward(
    frontier: Frontier, posterior: Floats
) -> Iterator[tuple[Introduced | Visited, Floats]]:
    """Back along a frontier's tape: each trace with the weight of all that comes after it.

    ``posterior`` is the (T) weight of the frontier's columns: what a trace has before its step,
    times its step, times what comes after, adds up to that. The weight is (Q, T) for a visit, and
    (pairs, T) for a variable introduced. Tables are large: the tape is gone afterwards.
    """
    total = frontier.alpha.sum(axis=0)
    beta = np.divide(posterior, total, out=np.zeros_like(total), where=total > VANISHED)[None]
    while frontier.tape:
        trace = frontier.tape.pop()
        if isinstance(trace, Introduced):
            ahead = spread(beta, trace.into)
            yield trace, ahead
            ahead *= trace.part.weight[trace.own, None]
            beta = aggregated(ahead, trace.old, len(trace.before))
        else:
            behind = spread(beta, trace.into) / trace.taken
            yield trace, behind
            beta = behind * trace.product[trace.told]


class Messages:
    """What everything else says of private and of narrow variables, added up over blocks.

    By family the (batches, N) weight of every multi-index left to explain; by narrow variable
    the weight of its states.
    """

    def __init__(self, plan: Decomposition) -> None:
        self.plan = plan
        self.families = [np.zeros_like(family.polynomial) for family in plan.families]
        self.narrow = {part.variable: np.zeros_like(part.weight) for part in plan.narrow}

    def fade(self, factor: float) -> None:
        """Let all that has been added up count for less."""
        for told in (*self.families, *self.narrow.values()):
            np.multiply(told, factor, out=told)

    def add(self, frontier: Frontier, posterior: Floats) -> None:
        """Go back along a frontier's tape; ``posterior`` is the (T) weight of its columns."""
        for trace, weight in backward(frontier, posterior):
            if isinstance(trace, Introduced):
                share = np.einsum("pt,pt->p", weight, trace.before[trace.old])
                told = np.bincount(trace.own, share, len(trace.part.weight)) * trace.part.weight
                self.narrow[trace.part.variable] += told
            else:
                group = self.plan.groups[trace.group]
                left = frontier.conditions.left(group)
                self.families[group.family][group.rows] += _to_private(group, left, trace, weight)


def _to_private(group: VisitGroup, left: Floats, trace: Visited, behind: Floats) -> Floats:
    """(batches, N) the outside's weight for what it leaves each batch of a group to explain."""
    context = aggregated(trace.before * behind, trace.told, len(trace.narrow[0]))
    message = ((leave_one_out(trace.factors) * context) @ left.T).swapaxes(1, 2)
    if group.classes:
        own = met_by(group, trace.narrow, trace.place)
        message = apply_transition(message, own, group.counts, back=True)
    told: Floats = message.sum(axis=2)
    return told
