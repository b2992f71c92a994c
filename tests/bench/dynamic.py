"""The optimum of a small machine by dynamic programming over beliefs, between two bounds.

For every place there are plans, as expected minutes by set of faults: the cheapest of them for a
belief is an upper bound. As the optimum is concave in the belief, beliefs of which a lower bound is
known give one to all others. Each trial follows the act that may be best to the outcome that is
least certain, and carries back what it finds: heuristic search value iteration, T. Smith and
R. Simmons (2004). Both bounds hold at any time; the search ends when they are near enough.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.bench.acts import Doing, Effect, Place, Shop
from tests.bench.bounds import Least
from tests.bench.explicit import Floats

MOST_ACTS = 40
"""A trial goes no deeper."""

FINER = 0.9
"""A trial looks for doubt greater than this part of the root's; for less after one in vain."""

LOOSER = 1.2
"""By how much more doubt a trial lets pass with every act, lest it follow the improbable far."""


class Shelf:
    """What is known of the optimum at one place, for any belief."""

    def __init__(self, least: Floats, most: Floats) -> None:
        """``points`` are (H, beliefs), for numpy is quick along long rows."""
        self.least = least
        self.plans = most[None]
        self.points = np.zeros((len(least), 0))
        self.gains = np.zeros(0)

    def low(self, belief: Floats) -> float:
        """A lower bound: what the faults alone cost, and the best gain of a known belief."""
        base = float(self.least @ belief)
        if not len(self.gains):
            return base
        free = np.full_like(self.points, np.inf)
        ratio = np.divide(belief[:, None], self.points, out=free, where=self.points > 0)
        return base + float((self.gains * ratio.min(axis=0)).max())

    def raise_low(self, belief: Floats, value: float) -> None:
        """Remember a lower bound of one belief."""
        if value > self.low(belief) + 1e-9:
            self.points = np.column_stack([self.points, belief])
            self.gains = np.append(self.gains, value - float(self.least @ belief))

    def high(self, belief: Floats) -> float:
        """An upper bound: the best plan."""
        return float((self.plans @ belief).min())

    def plan(self, belief: Floats) -> Floats:
        """(H) minutes of the best plan for a belief."""
        found: Floats = self.plans[int((self.plans @ belief).argmin())]
        return found

    def add_plan(self, belief: Floats, plan: Floats) -> None:
        """Remember a plan that is better for a belief than all others."""
        if float(plan @ belief) < self.high(belief) - 1e-9:
            self.plans = np.concatenate([self.plans, plan[None]])


@dataclass(frozen=True, eq=False)
class Table:
    """The acts of a place with their costs, and bounds of each as (acts, H)."""

    doings: tuple[Doing, ...]
    effects: tuple[Effect, ...]
    cost: Floats
    low: Floats
    high: Floats


Outcome = tuple[float, "Shelf", Place, Floats]
"""How probable it is, where it leads, and what is believed then."""


@dataclass(eq=False)
class Node:
    """A belief at a place with the bounds and outcomes of each act, as far as worked out."""

    place: Place
    belief: Floats
    lows: Floats
    highs: Floats
    outcomes: dict[int, list[Outcome]] = field(default_factory=dict)


class Optimum:
    """The least expected minutes from any belief of one small machine."""

    def __init__(self, shop: Shop) -> None:
        self.shop, self.least = shop, Least(shop)
        self.last = shop.knowledge.rates.hand_over_minutes
        self.tables: dict[Place, Table] = {}
        self.shelves: dict[Place, Shelf] = {}
        self.nodes: dict[tuple[Place, bytes], Node] = {}

    def solve(
        self, place: Place, belief: Floats, gap: float, seconds: float
    ) -> tuple[float, float]:
        """Both bounds of a belief, within ``gap`` of one another or as near as time allows.

        Seconds are of this process alone, so that other work changes nothing in the bounds.
        """
        belief, shelf = belief / belief.sum(), self.shelf(place)
        end = time.process_time() + seconds
        finer, doubt = FINER, np.inf
        while True:
            low, high = shelf.low(belief), shelf.high(belief)
            if high - low <= gap * low or time.process_time() > end:
                return low, high
            in_vain = high - low > doubt * (1 - 1e-4)
            finer = finer * FINER if in_vain else min(FINER, finer / FINER)
            doubt = high - low
            self._trial(place, belief, finer * doubt)

    def shelf(self, place: Place) -> Shelf:
        if place not in self.shelves:
            least = np.minimum(self.least.minutes(place), self.last)
            self.shelves[place] = Shelf(least, self._simplest(place))
        return self.shelves[place]

    def _simplest(self, place: Place) -> Floats:
        """(H) minutes of the simplest plan: prove it, or hand over when a row failed."""
        doing = None if place.rows else self.shop.proof(place)
        if doing is None:
            return np.full(len(self.shop.worlds.sets), self.last if place.rows else 0.0)
        effect = self.shop.effect(place, doing)
        return effect.cost + _ahead(effect, lambda then: self.shelf(then).plans[0])

    def table(self, place: Place) -> Table:
        """The acts of a place; the proof alone where no row failed."""
        if place not in self.tables:
            proof = None if place.rows else self.shop.proof(place)
            doings = (proof,) if proof else tuple(self.shop.doings(place))
            effects = tuple(self.shop.effect(place, doing) for doing in doings)
            lows = [_ahead(one, lambda then: self.shelf(then).least) for one in effects]
            highs = [_ahead(one, lambda then: self.shelf(then).plans[0]) for one in effects]
            cost = np.array([one.cost for one in effects])
            self.tables[place] = Table(doings, effects, cost, np.stack(lows), np.stack(highs))
        return self.tables[place]

    def node(self, place: Place, belief: Floats) -> Node:
        """The one node of a belief."""
        key = (place, np.round(belief, 9).tobytes())
        if key not in self.nodes:
            table = self.table(place)
            lows, highs = table.cost + table.low @ belief, table.cost + table.high @ belief
            self.nodes[key] = Node(place, belief, lows, highs)
        return self.nodes[key]

    def _trial(self, place: Place, belief: Floats, tolerance: float) -> None:
        path: list[Node] = []
        for _ in range(MOST_ACTS):
            shelf = self.shelf(place)
            if shelf.high(belief) - shelf.low(belief) <= tolerance:
                break
            node = self.node(place, belief)
            path.append(node)
            tolerance *= LOOSER
            best = self._settle(node)
            if best < 0:
                break
            place, belief = self._least_certain(node, best, tolerance)
        for node in reversed(path):
            self._settle(node)

    def _least_certain(self, node: Node, act: int, tolerance: float) -> tuple[Place, Floats]:
        def doubt(outcome: Outcome) -> float:
            chance, shelf, _, belief = outcome
            return chance * (shelf.high(belief) - shelf.low(belief) - tolerance)

        return max(self._outcomes(node, act), key=doubt)[2:]

    def _outcomes(self, node: Node, act: int) -> list[Outcome]:
        if act not in node.outcomes:
            effect = self.table(node.place).effects[act]
            joint = effect.after(node.belief)
            mass = joint.sum(axis=1)
            node.outcomes[act] = [
                (float(mass[o]), self.shelf(effect.places[o]), effect.places[o], joint[o] / mass[o])
                for o in np.flatnonzero(mass > 1e-12)
            ]
        return node.outcomes[act]

    def _settle(self, node: Node) -> int:
        """Bring a node's bounds up to date; the act that may be best, -1 for handing over."""
        shelf, last = self.shelf(node.place), self.last if node.place.rows else np.inf
        fresh: set[int] = set()
        while (best := int(np.argmin(node.lows))) not in fresh and node.lows[best] < last:
            fresh.add(best)
            self._work_out(node, best)
        low = min(last, float(node.lows[best]))
        shelf.raise_low(node.belief, low)
        cheapest = int(np.argmin(node.highs))
        if cheapest not in fresh:
            self._work_out(node, cheapest)
        if node.highs[cheapest] < shelf.high(node.belief) - 1e-9:
            shelf.add_plan(node.belief, self._plan(node, cheapest))
        return best if node.lows[best] < last else -1

    def _work_out(self, node: Node, act: int) -> None:
        cost = self.table(node.place).cost[act]
        low = high = float(cost)
        for chance, shelf, _, belief in self._outcomes(node, act):
            low += chance * shelf.low(belief)
            high += chance * shelf.high(belief)
        node.lows[act] = max(node.lows[act], low)
        node.highs[act] = min(node.highs[act], high)

    def _plan(self, node: Node, act: int) -> Floats:
        """(H) minutes of an act with the best plan known for each of its outcomes."""
        table = self.table(node.place)
        effect = table.effects[act]
        joint = iter(effect.after(node.belief))
        found: Floats = effect.cost + _ahead(
            effect, lambda then: self.shelf(then).plan(next(joint))
        )
        return found


def _ahead(effect: Effect, minutes: Callable[[Place], Floats]) -> Floats:
    """(H) what comes after an act, by the set of faults before it."""
    ahead = np.zeros(effect.chance.shape[1])
    for chance, place in zip(effect.chance, effect.places, strict=True):
        ahead += chance * minutes(place)
    return ahead if effect.step is None else ahead @ effect.step
