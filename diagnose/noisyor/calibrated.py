"""A solved world with the context of every step at hand, ready to weigh events.

An event changes the factors of a few sites. Everything before the first of them and behind
the last is known from the sweeps, so only the steps between are walked again. Frontier
states without visible posterior are left out first: what remains is small.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

import numpy as np

from diagnose.noisyor.budget import STEP, count, table
from diagnose.noisyor.bundle import heavy
from diagnose.noisyor.factor import Group, open_survival, site_factors
from diagnose.noisyor.network import Floats
from diagnose.noisyor.plan import Plan
from diagnose.noisyor.solver import Solved
from diagnose.noisyor.sweep import Enter, Sweep, Trace, Visit, backward
from diagnose.record import record

UNSEEN = 2e-5
"""Joint states that together have less posterior than this cannot be seen in any outcome."""

Asked = tuple[int, int, bool]
"""An open finding of an event: row in its group, number at its site, present or not."""


Told = tuple[Sequence[Asked], float]
"""What an event says of a group, and what each open finding must survive to be absent."""

Saying = tuple[tuple[tuple[int, bool], ...], float]
"""The same of one site: (number, present or not) of its open findings."""


@record
class Event:
    """Open findings that turn out so, by group, and what each must survive to be absent."""

    touched: Mapping[int, Sequence[Asked]]
    survival: float


@record
class Context:
    """A group that is visited, what came before it and what lies behind it."""

    step: Visit
    trace: Trace
    behind: Floats


class Calibrated:
    """Weighs events in one world.

    Parameters
    ----------
    plan: what was swept.
    solved: its world, swept forward.
    posterior: (T) posterior of its common states; only those in `seen` are kept.
    """

    def __init__(self, plan: Plan, solved: Solved, posterior: Floats) -> None:
        seen = heavy(posterior, UNSEEN)
        self.plan, self.seen, self.posterior = plan, seen, posterior[seen]
        self.world = solved.world.at(seen)
        self._sweeps = [Sweep(plan, part.sweep.steps, self.world) for part in solved.parts]
        self._visited: dict[tuple[int, int], Context] = {}
        self._where: dict[int, tuple[int, int]] = {}
        self._absences: dict[tuple[int, tuple[int, ...]], Floats] = {}
        self._polynomials: dict[tuple[int, tuple[int, ...]], Floats] = {}
        self._plains: dict[tuple[int, range], Floats] = {}
        self._shares: dict[tuple[int, object], Floats] = {}
        for number, part in enumerate(solved.parts):
            for k, step, trace, behind, _ in backward(part.sweep, part.traces, posterior):
                if isinstance(step, Visit):
                    self._visited[number, k] = Context(step, trace.at(seen), behind[:, seen])
                    self._where[step.group] = (number, k)

    def events(self, events: Sequence[Event]) -> Floats:
        """(V, T) probability of each common state together with each of V events.

        The events must ask about the same sites, as the outcomes of one test do.

        >>> from diagnose.noisyor import Finding, Network, Variable
        >>> from diagnose.noisyor.solver import Solver
        >>> check = Finding("check", {"valve": (1, 0)}, present=True, site=1)
        >>> meter = Finding("meter", {"valve": (1, 0.4)}, leak=0.25, site=1)
        >>> solver = Solver.of(Network.of([Variable("valve", (0.75, 0.25))], [check, meter]))
        >>> swept = solver.explored(solver.rows, share=0.0, traced=True)
        >>> told = [Event({0: [(0, 0, present)]}, survival=1.0) for present in (False, True)]
        >>> Calibrated(solver.plan, swept, np.ones(1)).events(told).round(6).tolist()
        [[0.3], [0.7]]
        """
        result = self.posterior[None]
        asked: dict[int, list[int]] = {}
        for g in events[0].touched:
            asked.setdefault(self._where[g][0], []).append(g)
        for number, groups in asked.items():
            result = result * self._share(number, groups, events)
        return result

    def _share(self, number: int, groups: Sequence[int], events: Sequence[Event]) -> Floats:
        """(V, T) chance of what events say of some groups of one part, given each common state."""
        told = tuple(
            (event.survival, *((g, *event.touched[g]) for g in groups)) for event in events
        )
        if (number, told) not in self._shares:
            steps = [self._where[g][1] for g in groups]
            path = range(min(steps), max(steps) + 1)
            plain, changed = self._plain(number, path), self._along(number, path, events)
            share = np.divide(changed, plain, out=np.zeros_like(changed), where=plain > 0)
            self._shares[number, told] = share
        return self._shares[number, told]

    def _plain(self, number: int, path: range) -> Floats:
        """(1, T) weight of the path with nothing asked."""
        if (number, path) not in self._plains:
            self._plains[number, path] = self._along(number, path, [Event({}, 1.0)])
        return self._plains[number, path]

    def _along(self, number: int, path: range, events: Sequence[Event]) -> Floats:
        """(V, T) weight of the path from one step to another under each event.

        Events go along together for as long as they have said the same.
        """
        sweep = self._sweeps[number]
        count(STEP * len(path))
        alpha, told = self._visited[number, path[0]].trace.before[None], [0] * len(events)
        for k in path:
            step = sweep.steps[k]
            if isinstance(step, Enter):
                alpha = sweep.expand(alpha, step)
            elif step.group in events[0].touched:
                alpha, told = self._parted(self._visited[number, k], events, alpha, told)
            else:
                product = self._visited[number, k].trace.product
                table(alpha.size)
                alpha = alpha * step.alike.spread(product)
        weight: Floats = np.einsum("vqt,qt->vt", alpha, self._visited[number, path[-1]].behind)
        return weight[told]

    def _parted(
        self, context: Context, events: Sequence[Event], alpha: Floats, before: Sequence[int]
    ) -> tuple[Floats, list[int]]:
        """(K, Q, T) the frontier after a group that is asked, for K histories of what was said.

        Which history each event had ``before``, and which it has then.
        """
        group = context.step.group
        sayings = [(tuple(event.touched[group]), event.survival) for event in events]
        number = {each: k for k, each in enumerate(dict.fromkeys(sayings))}
        changed = context.step.alike.spread(self._told(context, list(number)))
        pairs = list(zip(before, (number[each] for each in sayings), strict=True))
        history = {pair: k for k, pair in enumerate(dict.fromkeys(pairs))}
        old, said = map(list, zip(*history, strict=True))
        table(len(old) * alpha[0].size)
        return alpha[old] * changed[said], [history[pair] for pair in pairs]

    def _told(self, context: Context, told: Sequence[Told]) -> Floats:
        """(K, D, T) the product of a group's factors, by K sayings about the same open findings."""
        sayings: dict[int, list[Saying]] = {}
        for asked, survival in told:
            own: dict[int, list[tuple[int, bool]]] = {}
            for row, query, present in asked:
                own.setdefault(row, []).append((query, present))
            for row, each in own.items():
                sayings.setdefault(row, []).append((tuple(each), survival))
        factors = context.trace.factors
        product: Floats = np.multiply.reduce(
            factors[[r for r in range(len(factors)) if r not in sayings]]
        )
        for queries in dict.fromkeys(map(_queries, sayings.values())):
            rows = {row: said for row, said in sayings.items() if _queries(said) == queries}
            product = product * self._changed(context, rows, queries)
        return product

    def _changed(
        self, context: Context, said: Mapping[int, Sequence[Saying]], queries: tuple[int, ...]
    ) -> Floats:
        """(K, D, T) the product of the factors of sites of which the same findings are asked.

        What is present is all less what is absent, so q findings make 2**q terms.
        """
        sets = [some for size in range(len(queries) + 1) for some in combinations(queries, size)]
        absent = np.stack([self._absent(context, some)[list(said)] for some in sets], axis=1)
        states = len(context.step.shared.u) * context.trace.factors.shape[-1]
        table(len(said) * states * (len(sets) + len(next(iter(said.values())))))
        number: dict[Saying, int] = {}
        which = [[number.setdefault(one, len(number)) for one in each] for each in said.values()]
        sign = np.array([[_sign(saying, some) for some in sets] for saying in number])
        known = np.maximum(sign @ absent.reshape(len(said), len(sets), -1), 0.0)
        product = known[0, which[0]]
        for row in range(1, len(said)):
            product *= known[row, which[row]]
        changed: Floats = product.reshape(-1, *absent.shape[2:])
        return changed

    def _absent(self, context: Context, queries: tuple[int, ...]) -> Floats:
        """(sites, D, T): a group's factors when these open findings turn out absent."""
        step = context.step
        if not queries:
            return context.trace.factors
        key = (step.group, queries)
        if key not in self._absences:
            group, common = self.plan.groups[step.group], self.world.block.common
            factors = self._present(step, group, queries)
            for query in queries:
                factors *= open_survival(group.queries[query], common, step.shared)
            self._absences[key] = factors
        return self._absences[key]

    def _present(self, step: Visit, group: Group, queries: tuple[int, ...]) -> Floats:
        """(sites, D, T): present findings and private states that keep open findings absent."""
        world, number = self.world, group.members[0][0]
        if (number, queries) not in self._polynomials:
            self._polynomials[number, queries] = self.plan.families[number].absences(queries)
        polynomials = self._polynomials[number, queries][[row for _, row in group.members]]
        left, special = world.block.left(group), world.special
        factors = site_factors(group, polynomials, left, step.shared)
        if special is not None and special.group == step.group:
            factors[special.row] = special.factor(group, left, step.shared, queries)
        return factors


def _queries(said: Sequence[Saying]) -> tuple[int, ...]:
    """The open findings that are asked of a site."""
    return tuple(query for query, _ in said[0][0])


def _sign(saying: Saying, absent: Sequence[int]) -> float:
    """What a term with these findings absent counts for: for a present one, 1 less its absence."""
    asked, survival = saying
    weight = 1.0
    for query, present in asked:
        weight *= (-survival if present else survival) if query in absent else present
    return weight


def events_of(names: Sequence[str]) -> Iterator[dict[str, bool]]:
    """Every outcome of some open findings, absent first.

    >>> [list(event.values()) for event in events_of(["a", "b"])]
    [[False, False], [False, True], [True, False], [True, True]]
    """
    for bits in range(2 ** len(names)):
        yield {name: bool(bits >> (len(names) - 1 - place) & 1) for place, name in enumerate(names)}
