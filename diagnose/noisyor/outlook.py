"""What open findings may turn out to be, and whom that would blame for a present one.

The *blame* for a present finding is a complete partition: no parent is in a state that can
bring it about (the leak did), exactly one parent is (one blame for each such state), or
several are. Given one blame, all parents are known, so each blame is a small *world* of its
own; the probability of an event together with each blame is read off the calibrated sweeps
of these worlds, and without inferring again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from diagnose.noisyor.bundle import Bundle
from diagnose.noisyor.factor import contract, joint_survival
from diagnose.noisyor.network import ABSENT, OPEN, Floats, Ints, Network
from diagnose.noisyor.plan import Plan
from diagnose.noisyor.posterior import INVISIBLE, Solved, Solver
from diagnose.noisyor.sweep import Enter, Trace, Visit, World, backward, components

Allowed = Mapping[int, NDArray[np.bool_]]
"""For some variables (by number) which of their states are allowed."""


@dataclass(frozen=True)
class Blame:
    """One possible answer to "what brought this finding about?".

    ``cause`` is a variable's name and state, or None for the leak alone.
    """

    cause: tuple[str, int] | None


class Outlook:
    """Probabilities of events among the open findings, split by the blame for one finding.

    Parameters
    ----------
    network: with open findings to ask about; its evidence must be possible.
    target: name of the present finding to be blamed on something.

    >>> from diagnose.noisyor.network import Finding, Variable
    >>> network = Network.of(
    ...     [Variable("valve", (0.9, 0.1)), Variable("plug", (0.9, 0.1))],
    ...     [Finding("check", {"valve": (1, 0), "plug": (1, 0)}, 0.0, True, site=1),
    ...      Finding("meter", {"plug": (1, 0)}, 0.0, None, site=1)],
    ... )
    >>> outlook = Outlook(network, "check")
    >>> [blame.cause for blame in outlook.blames]
    [None, ('valve', 1), ('plug', 1)]
    >>> outlook.joint({"meter": True}).round(4).tolist()  # the last is "several"
    [0.0, 0.0, 0.4737, 0.0526]
    """

    def __init__(self, network: Network, target: str) -> None:
        solver = Solver.of(network, ENOUGH)
        if solver is None or solver.log_evidence == -np.inf:
            raise ValueError(f"expected possible evidence to find blame for {target!r}")
        self.network, self.solver, self.plan = network, solver, solver.plan
        self.finding = network.finding_names.index(target)
        self.place = _Places(self.plan)
        self.blames, self._allowed = self._partition()
        self._base = [
            Calibrated(solved, self.place, posterior)
            for solved in solver.blocks
            if (posterior := solver.common_posterior[solved.world.block.rows]).sum() > INVISIBLE
        ]
        self._worlds, self._owner = self._blame_worlds()

    @cached_property
    def blame(self) -> Floats:
        """(blames + 1) posterior of each blame, the last for "several"."""
        return self.joint({})

    def joint(self, event: Mapping[str, bool], survival: float = 1.0) -> Floats:
        """(blames + 1) probability of the event together with each blame.

        Parameters
        ----------
        event: open findings by name, and whether they turn out present.
        survival: a further factor that every open finding of the event must survive to be
            absent: the circumstances of the new run.
        """
        touched = self.place.touched(event)
        total = sum(float(one.event(touched, survival).sum()) for one in self._base)
        rows = self._worlds.event(touched, survival)
        split = np.bincount(self._owner, rows, len(self.blames))
        return np.append(split, max(total - float(split.sum()), 0.0))

    def _partition(self) -> tuple[list[Blame], list[Allowed]]:
        """The blames, and the states that each allows to the target's parents."""
        network, f = self.network, self.finding
        entries = slice(network.start[f], network.start[f + 1])
        states, logs = network.state[entries], network.log_survival[entries]
        active = np.zeros(network.states, dtype=bool)
        active[states[logs < 0]] = True
        active &= network.prior > 0
        parents = np.unique(network.variable_of[np.flatnonzero(active)])
        bounds = network.offsets
        idle = {int(v): ~active[bounds[v] : bounds[v + 1]] for v in parents}
        blames = [Blame(None)]
        allowed: list[Allowed] = [idle]
        for v in parents.tolist():
            for state in np.flatnonzero(~idle[v]).tolist():
                only = np.zeros_like(idle[v])
                only[state] = True
                blames.append(Blame((network.names[v], state)))
                allowed.append(idle | {v: only})
        return blames, allowed

    def _blame_worlds(self) -> tuple[Calibrated, Ints]:
        """One world for every blame and common state that it leaves open; the blame of each."""
        plan = self.plan
        rows, owner, logs = [], [], []
        tables: dict[bytes, Floats] = {}
        for number, allowed in enumerate(self._allowed):
            key = b"".join(allowed[v].tobytes() for v in sorted(allowed) if v in self.place.common)
            if key not in tables:
                tables[key] = plan.common.weight_under(allowed)
            weight = tables[key]
            chosen = np.flatnonzero(weight > weight.max() * LIGHT)
            rows.append(chosen)
            owner.append(np.full(len(chosen), number))
            logs.append(np.log(weight[chosen]))
        return self._solve(np.concatenate(rows), np.concatenate(owner), np.concatenate(logs))

    def _solve(self, rows: Ints, owner: Ints, logs: Floats) -> tuple[Calibrated, Ints]:
        plan = self.plan
        block = replace(plan.block(rows, 0.0), log_weight=logs)
        site = self.place.site_of(self.finding)
        g, r = self.place.group[site]
        bundles = [self._bundle_weight(shared.bundle, owner) for shared in plan.shared]
        weight = self._site_weight(site)
        number, row = self.place.member[site]
        family = plan.families[number]
        polynomials = list(self.solver.polynomials)
        own = np.repeat(polynomials[g][:, None, :], len(owner), axis=1)
        own[r] = family.absent(row, (), weight)[owner]
        polynomials[g] = own
        world = World(block, bundles, polynomials)
        solved = Solved(plan, world, list(components(plan, block.shared)))
        peak = self.solver.log_common.max()
        evidence = peak + np.log(np.exp(self.solver.log_common - peak).sum())
        posterior = np.exp(solved.log_common - evidence)
        special = {site: lambda queries: family.absent(row, queries, weight)[owner]}
        return Calibrated(solved, self.place, posterior, special), owner

    def _bundle_weight(self, bundle: Bundle, owner: Ints) -> Floats:
        members = {stage.part.variable for stage in bundle.stages}
        if not members & set(self._allowed[0]):
            return bundle.weight
        return np.stack([bundle.weight_under(allowed) for allowed in self._allowed])[owner]

    def _site_weight(self, site: int) -> Floats:
        """(blames, V, S) weights of the private states of a site that each blame allows."""
        number, row = self.place.member[site]
        family = self.plan.families[number]
        return np.stack(
            [self._masked(family.weight[row], family.variable[row], a) for a in self._allowed]
        )

    @staticmethod
    def _masked(weight: Floats, variable: Ints, allowed: Allowed) -> Floats:
        masked = weight.copy()
        for place, v in enumerate(variable.tolist()):
            if v in allowed:
                masked[place, : len(allowed[v])] *= allowed[v]
        return masked


ENOUGH = 1e-9
"""Share of the evidence that may be left out where only a choice of tests depends on it."""

LIGHT = 1e-9
"""Common states this much lighter than a blame's heaviest do not change a choice of tests."""


class _Places:
    """Where the sites and open findings of a plan are."""

    def __init__(self, plan: Plan) -> None:
        network = plan.network
        live = np.flatnonzero(network.outcome != ABSENT)
        _, site = np.unique(network.site[live], return_inverse=True)
        self.plan = plan
        self._site: dict[int, int] = dict(zip(live.tolist(), site.tolist(), strict=True))
        self.common = {stage.part.variable for stage in plan.common.stages}
        self.group: dict[int, tuple[int, int]] = {}
        self.member: dict[int, tuple[int, int]] = {}
        for g, group in enumerate(plan.groups):
            for r, (number, member) in enumerate(zip(group.sites, group.members, strict=True)):
                self.group[number], self.member[number] = (g, r), member
        self._query: dict[str, tuple[int, int]] = {}
        seen: dict[int, int] = {}
        for f in live.tolist():
            if network.outcome[f] == OPEN:
                number = self._site[f]
                query = seen.get(number, 0)
                seen[number] = query + 1
                self._query[network.finding_names[f]] = (number, query)

    def site_of(self, finding: int) -> int:
        """The site of a live finding."""
        return self._site[finding]

    def touched(self, event: Mapping[str, bool]) -> dict[int, list[tuple[int, int, bool]]]:
        """Per group the (row, query, present) of an event."""
        groups: dict[int, list[tuple[int, int, bool]]] = {}
        for name, present in event.items():
            site, query = self._query[name]
            g, r = self.group[site]
            groups.setdefault(g, []).append((r, query, present))
        return groups


@dataclass(frozen=True)
class _Context:
    step: Enter | Visit
    trace: Trace
    behind: Floats


class Calibrated:
    """A solved world with the context of every step at hand, ready to weigh events."""

    def __init__(
        self,
        solved: Solved,
        places: _Places,
        posterior: Floats,
        special: Mapping[int, Callable[[Sequence[int]], Floats]] | None = None,
    ) -> None:
        self.solved, self.places, self.posterior = solved, places, posterior
        self.special = special or {}
        self._parts: list[list[_Context]] = []
        self._where: dict[int, tuple[int, int]] = {}
        self._absences: dict[tuple[int, int, tuple[int, ...]], Floats] = {}
        self._plain: dict[tuple[int, int, int], Floats] = {}
        for number, sweep in enumerate(solved.sweeps):
            backwards = backward(sweep, solved.traces(number), posterior)
            part = [_Context(step, trace, behind) for _, step, trace, behind, _ in backwards][::-1]
            self._parts.append(part)
            for k, context in enumerate(part):
                if isinstance(context.step, Visit):
                    self._where[context.step.group] = (number, k)

    def event(
        self, touched: Mapping[int, Sequence[tuple[int, int, bool]]], survival: float
    ) -> Floats:
        """(T) probability of each common state together with the event."""
        result = self.posterior
        by_part: dict[int, dict[int, Sequence[tuple[int, int, bool]]]] = {}
        for g, rows in touched.items():
            number, k = self._where[g]
            by_part.setdefault(number, {})[k] = rows
        for number, steps in by_part.items():
            plain = self._along(number, min(steps), max(steps), {}, survival)
            changed = self._along(number, min(steps), max(steps), steps, survival)
            result = result * np.divide(changed, plain, out=np.zeros_like(plain), where=plain > 0)
        return result

    def _along(
        self,
        number: int,
        first: int,
        last: int,
        steps: Mapping[int, Sequence[tuple[int, int, bool]]],
        survival: float,
    ) -> Floats:
        """(T) weight of the path from one step to another, with some sites' factors changed."""
        if not steps and (number, first, last) in self._plain:
            return self._plain[number, first, last]
        part = self._parts[number]
        alpha = part[first].trace.before
        for k in range(first, last + 1):
            context = part[k]
            if isinstance(context.step, Enter):
                alpha = self.solved.sweeps[number].expand(alpha, context.step)
            else:
                factors = list(context.trace.factors)
                asked = steps.get(k, ())
                for row in {row for row, _, _ in asked}:
                    own = [(query, present) for r, query, present in asked if r == row]
                    factors[row] = self._factor(context, row, own, survival)
                alpha = alpha * np.multiply.reduce(factors)
        weight: Floats = (alpha * part[last].behind).sum(axis=1)
        if not steps:
            self._plain[number, first, last] = weight
        return weight

    def _factor(
        self, context: _Context, row: int, asked: Sequence[tuple[int, bool]], survival: float
    ) -> Floats:
        """(T, Q): a site's factor when some of its open findings turn out so.

        What is present is all less what is absent, so with p findings present there are 2**p
        terms; a measurement has one.
        """
        absent = tuple(query for query, present in asked if not present)
        present = [query for query, there in asked if there]
        total = self._absent(context, row, absent, survival)
        for size in range(1, len(present) + 1):
            for some in combinations(present, size):
                total = total + (-1) ** size * self._absent(
                    context, row, (*absent, *some), survival
                )
        return np.maximum(total, 0.0)

    def _absent(
        self, context: _Context, row: int, queries: tuple[int, ...], survival: float
    ) -> Floats:
        """(T, Q): a site's factor when these open findings of it turn out absent."""
        step = context.step
        assert isinstance(step, Visit)
        if not queries:
            factor: Floats = context.trace.factors[row]
            return factor
        key = (step.group, row, tuple(sorted(queries)))
        if key not in self._absences:
            group = self.solved.plan.groups[step.group]
            factor = self._private(group.sites[row], group.members[row], queries, context)
            for query in queries:
                column, common = group.queries[query], self.solved.world.block.common
                factor = factor * joint_survival(column, common, step.shared)[0]
            self._absences[key] = factor
        return self._absences[key] * survival ** len(queries)

    def _private(
        self, site: int, member: tuple[int, int], queries: Sequence[int], context: _Context
    ) -> Floats:
        terms = context.trace.terms
        if site in self.special:
            return contract(self.special[site](queries)[None], terms)[0]
        family, row = member
        return contract(self.solved.plan.families[family].absent(row, queries)[None], terms)[0]


def events_of(names: Sequence[str]) -> Iterator[dict[str, bool]]:
    """Every outcome of some open findings, absent first.

    >>> [list(event.values()) for event in events_of(["a", "b"])]
    [[False, False], [False, True], [True, False], [True, True]]
    """
    for bits in range(2 ** len(names)):
        yield {name: bool(bits >> (len(names) - 1 - place) & 1) for place, name in enumerate(names)}
