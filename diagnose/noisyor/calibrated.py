"""A solved world with the context of every step at hand, ready to weigh events.

An event changes the factors of a few sites. Everything before the first of them and behind
the last is known from the sweeps, so only the steps between are walked again. Frontier
states without visible posterior are left out first: what remains is small.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

import numpy as np

from diagnose.noisyor.factor import explained, open_survival
from diagnose.noisyor.network import Floats
from diagnose.noisyor.plan import Plan
from diagnose.noisyor.posterior import Solved
from diagnose.noisyor.sweep import Enter, Step, Trace, Visit, backward
from diagnose.record import record

UNSEEN = 1e-5
"""Joint states that together have less posterior than this cannot be seen in any outcome."""

Asked = tuple[int, int, bool]
"""An open finding of an event: row in its group, number at its site, present or not."""


@record
class Event:
    """Open findings that turn out so, by group, and what each must survive to be absent."""

    touched: Mapping[int, Sequence[Asked]]
    survival: float


@record
class Context:
    """One step, what came before it and what lies behind it, on its visible states."""

    step: Step
    trace: Trace
    behind: Floats


class Calibrated:
    """Weighs events in one world.

    Parameters
    ----------
    plan: what was swept.
    solved: its world, swept forward.
    posterior: (T) posterior of its common states.
    """

    def __init__(self, plan: Plan, solved: Solved, posterior: Floats) -> None:
        self.plan, self.solved, self.posterior = plan, solved, posterior
        self._parts: list[list[Context]] = []
        self._where: dict[int, tuple[int, int]] = {}
        self._absences: dict[tuple[int, int, tuple[int, ...]], Floats] = {}
        self._plains: dict[tuple[int, range], Floats] = {}
        for number, swept in enumerate(solved.parts):
            backwards = backward(swept.sweep, swept.traces, posterior)
            part = [Context(step, trace, behind) for _, step, trace, behind, _ in backwards][::-1]
            self._parts.append(part)
            for k, context in enumerate(part):
                if isinstance(context.step, Visit):
                    self._where[context.step.group] = (number, k)

    def events(self, events: Sequence[Event]) -> Floats:
        """(V, T) probability of each common state together with each of V events.

        The events must ask about the same sites, as the outcomes of one test do.
        """
        result = self.posterior[None]
        places: dict[int, list[int]] = {}
        for g in events[0].touched:
            number, k = self._where[g]
            places.setdefault(number, []).append(k)
        for number, steps in places.items():
            path = range(min(steps), max(steps) + 1)
            plain = self._plain(number, path)
            changed = self._along(number, path, events)
            result = result * np.divide(changed, plain, out=np.zeros_like(changed), where=plain > 0)
        return result

    def _plain(self, number: int, path: range) -> Floats:
        """(1, T) weight of the path with nothing asked."""
        if (number, path) not in self._plains:
            self._plains[number, path] = self._along(number, path, [Event({}, 1.0)])
        return self._plains[number, path]

    def _along(self, number: int, path: range, events: Sequence[Event]) -> Floats:
        """(V, T) weight of the path from one step to another under each event."""
        part = self._parts[number]
        alpha = part[path[0]].trace.before[None]
        for k in path:
            step = part[k].step
            if isinstance(step, Enter):
                alpha = self.solved.parts[number].sweep.expand(alpha, step)
            else:
                alpha = alpha * self._product(part[k], step, events)
        weight: Floats = np.einsum("vqt,qt->vt", alpha, part[path[-1]].behind)
        return weight

    def _product(self, context: Context, step: Visit, events: Sequence[Event]) -> Floats:
        """(V or 1, Q, T) the product of a group's factors, those of asked sites as events say."""
        rows = {row for row, _, _ in events[0].touched.get(step.group, ())}
        if not rows:
            return step.alike.spread(context.trace.product[None])
        factors = context.trace.factors
        others = [row for row in range(len(factors)) if row not in rows]
        product = np.repeat(np.multiply.reduce(factors[others])[None], len(events), axis=0)
        for row in sorted(rows):
            asked = self._asked(context, step, row, events)
            for changed, factor in zip(product, asked, strict=True):
                np.multiply(changed, factor, out=changed)
        return step.alike.spread(product)

    def _asked(
        self, context: Context, step: Visit, row: int, events: Sequence[Event]
    ) -> list[Floats]:
        """(D, T) an asked site's factor under each event, found once for events alike here."""
        told = [
            (tuple((q, there) for r, q, there in event.touched[step.group] if r == row), survival)
            for event in events
            for survival in (event.survival,)
        ]
        known = {each: self._factor(context, row, *each) for each in dict.fromkeys(told)}
        return [known[each] for each in told]

    def _factor(
        self, context: Context, row: int, asked: Sequence[tuple[int, bool]], survival: float
    ) -> Floats:
        """(D, T): a site's factor when some of its open findings turn out so.

        What is present is all less what is absent, so with p findings present there are 2**p
        terms; a measurement has one.
        """
        absent = tuple(query for query, present in asked if not present)
        present = [query for query, there in asked if there]
        total = self._absent(context, row, absent, survival)
        for size in range(1, len(present) + 1):
            for some in combinations(present, size):
                term = self._absent(context, row, (*absent, *some), survival)
                total = total + (-1) ** size * term
        return np.maximum(total, 0.0) if present else total

    def _absent(
        self, context: Context, row: int, queries: tuple[int, ...], survival: float
    ) -> Floats:
        """(D, T): a site's factor when these open findings of it turn out absent."""
        step = context.step
        assert isinstance(step, Visit)
        factor: Floats = context.trace.factors[row]
        if not queries:
            return factor
        key = (step.group, row, tuple(sorted(queries)))
        if key not in self._absences:
            group = self.plan.groups[step.group]
            factor = self._present(step, row, queries)
            for query in queries:
                common = self.solved.world.block.common
                factor = factor * open_survival(group.queries[query], common, step.shared)
            self._absences[key] = factor
        kept: Floats = self._absences[key]
        return kept if survival == 1 else kept * survival ** len(queries)

    def _present(self, step: Visit, row: int, queries: Sequence[int]) -> Floats:
        """(D, T): present findings and private states that keep open findings absent."""
        world, group = self.solved.world, self.plan.groups[step.group]
        left, special = world.block.left(group), world.special
        if special is not None and (special.group, special.row) == (step.group, row):
            return special.factor(group, left, step.shared, queries)
        family, member = group.members[row]
        polynomial = self.plan.families[family].absent(member, queries)
        factor: Floats = explained(group, polynomial[None], step.shared)[0] @ left
        return factor


def events_of(names: Sequence[str]) -> Iterator[dict[str, bool]]:
    """Every outcome of some open findings, absent first.

    >>> [list(event.values()) for event in events_of(["a", "b"])]
    [[False, False], [False, True], [True, False], [True, True]]
    """
    for bits in range(2 ** len(names)):
        yield {name: bool(bits >> (len(names) - 1 - place) & 1) for place, name in enumerate(names)}
