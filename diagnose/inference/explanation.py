"""What may happen next, and which single cause of one present finding it speaks for.

The *explanation* of a present finding is a complete partition: no parent is in a state that can
bring it about (the leak did), exactly one parent is (one explanation for each such state), or
several are. All parents belong to the cutset, whose joint states are labelled by what explains
the finding; so the probability of an event together with each explanation is read off one pass
forward and backward, and nothing is inferred again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import combinations

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.errors import OverBudget
from diagnose.inference.aggregation import aggregated, distinct, keep_mass
from diagnose.inference.budget import STEP, spend, table
from diagnose.inference.cutset import COMPOUND, Conditions, explained
from diagnose.inference.decomposition import Decomposition, Part, decompose
from diagnose.inference.elimination import Introduced, Visited, backward
from diagnose.inference.network import Network
from diagnose.inference.posterior import Posterior
from diagnose.inference.pruning import Pruner
from diagnose.inference.solver import Solver
from diagnose.record import record

UNSEEN = 2e-5
"""Joint states that together have less posterior than this cannot be seen in any outcome."""

GOOD_TO = 1e-4
"""What the probabilities given here are good to, where the evidence is worked out exactly."""

ALIKE = 1e-6
"""States whose posteriors differ by no more than this part are kept or left out together."""

USEFUL = 0.2
"""With more of the evidence left out nothing is said of explanations."""


@record
class Explanation:
    """One possible answer to "what brought this finding about?".

    ``cause`` is a variable's name and state, or None for the leak alone.
    """

    cause: tuple[str, int] | None


class ExplanationPosterior:
    """Probabilities of events among the open findings, split by what explains one finding.

    Parameters
    ----------
    network: with open findings to ask about; its evidence must be possible.
    target: name of the present finding to be explained.
    known: the posterior of the network, if there is one already. States that together have
        less than `UNSEEN` of it are left out.

    >>> from diagnose.inference.network import Finding, Variable
    >>> network = Network.of(
    ...     [Variable("valve", (0.9, 0.1)), Variable("plug", (0.9, 0.1))],
    ...     [Finding("check", {"valve": (1, 0), "plug": (1, 0)}, 0.0, True, site=1),
    ...      Finding("meter", {"plug": (1, 0)}, 0.0, None, site=1)],
    ... )
    >>> found = ExplanationPosterior(network, "check")
    >>> [one.cause for one in found.explanations]
    [None, ('valve', 1), ('plug', 1)]
    >>> found.joint({"meter": True}).round(4).tolist()  # the last is "several"
    [0.0, 0.0, 0.4737, 0.0526]
    """

    def __init__(self, network: Network, target: str, known: Posterior | None = None) -> None:
        floor = -np.inf
        if known is not None:
            if known.left_out > USEFUL:
                raise OverBudget
            lightest = known.flat[keep_mass(known.flat, UNSEEN)].min()
            seen = known.flat >= lightest * (1 - ALIKE)
            network = replace(network, prior=np.where(seen, network.prior, 0.0))
            floor = known.log_evidence + np.log1p(-UNSEEN)
        found = _conditioned(network, network.finding_names.index(target), floor)
        if found is None:
            raise ValueError(f"expected possible evidence to explain {target!r}")
        self._whole, self._single, self.explanations = found
        self.log_evidence = self._whole.log_evidence
        self._membership = np.eye(len(self.explanations))[self._single.labels]

    @cached_property
    def posterior(self) -> Floats:
        """(explanations + 1) posterior of each explanation, the last for "several".

        >>> from diagnose.inference.network import Finding, Variable
        >>> two = [Variable("valve", (0.9, 0.1)), Variable("plug", (0.9, 0.1))]
        >>> check = Finding("check", {"valve": (1, 0), "plug": (1, 0)}, present=True)
        >>> found = ExplanationPosterior(Network.of(two, [check]), "check")
        >>> found.posterior.round(4).tolist()  # 0, 9, 9, 1 of 19
        [0.0, 0.4737, 0.4737, 0.0526]
        """
        return self.joint({})

    def joint(self, event: Mapping[str, bool], survival: float = 1.0) -> Floats:
        """(explanations + 1) probability of the event together with each: see `joints`.

        >>> from diagnose.inference.network import Finding, Variable
        >>> check = Finding("check", {"valve": (1, 0)}, 0.5, present=True)
        >>> meter = Finding("meter", {"valve": (1, 0.4)}, present=None)
        >>> network = Network.of([Variable("valve", (0.75, 0.25))], [check, meter])
        >>> found = ExplanationPosterior(network, "check")
        >>> found.joint({"meter": False}, survival=0.5).round(6).tolist()  # 0.6 and 0.4, halved
        [0.3, 0.08, 0.0]
        """
        joint: Floats = self.joints([(event, survival)])[0]
        return joint

    def joints(self, events: Sequence[tuple[Mapping[str, bool], float]]) -> Floats:
        """(V, explanations + 1) probability of each event together with each explanation.

        Parameters
        ----------
        events: open findings by name and whether they turn out present, the same ones in every
            event; and a further factor that each of them must survive to be absent, the
            circumstances of the new run.

        >>> from diagnose.inference.network import Finding, Variable
        >>> check = Finding("check", {"valve": (1, 0)}, 0.5, present=True)
        >>> meter = Finding("meter", {"valve": (1, 0.4)}, present=None)
        >>> network = Network.of([Variable("valve", (0.75, 0.25))], [check, meter])
        >>> found = ExplanationPosterior(network, "check")
        >>> found.joints([({"meter": False}, 1.0), ({"meter": True}, 1.0)]).round(6).tolist()
        [[0.6, 0.16, 0.0], [0.0, 0.24, 0.0]]
        """
        single = self._single.weights(events)
        spend(single.size * self._membership.shape[1] / 8)
        split: Floats = single @ self._membership
        several = self._whole.weights(events).sum(axis=1) - split.sum(axis=1)
        return np.column_stack([split, np.maximum(several, 0.0)])


def _active(network: Network, finding: int) -> Ints:
    """The flat states that can bring a finding about."""
    entries = slice(network.start[finding], network.start[finding + 1])
    states = network.state[entries][network.log_survival[entries] < 0]
    return np.sort(states[distinct(states)[0]])


def _labels(network: Network, active: Ints) -> dict[int, Ints]:
    """By variable, the number of each state among the active ones, from 1; 0 for the others."""
    numbers = np.zeros(network.states, dtype=np.intp)
    numbers[active] = np.arange(1, len(active) + 1)
    bounds = network.offsets
    return {
        v: numbers[bounds[v] : bounds[v + 1]] for v in set(network.variable_of[active].tolist())
    }


def _conditioned(
    network: Network, target: int, floor: float
) -> tuple[Conditioned, Conditioned, list[Explanation]] | None:
    """The network as it is; with all parents of the target in a labelled cutset; its explanations.

    In the second no two parents may be at fault. What is wide besides becomes one compound
    variable, of which only the states are left that can be seen. None when the evidence is
    impossible.
    """
    plain = decompose(network)
    if plain is None:
        return None
    active = _active(network, target)
    active = active[plain.weight[active] > 0]
    owner = network.variable_of[active]
    labels = _labels(network, active)
    solver = Solver(plain, UNSEEN, floor, labels).solve(taped=False)
    plan = decompose(network, owner, plain.batch)
    if plan is None or solver.log_evidence == -np.inf:
        return None
    if solver.left_out > USEFUL:
        raise OverBudget
    seen = keep_mass(np.exp(solver.log_joint - solver.log_evidence), UNSEEN)
    known = solver.log_evidence + plain.apart
    apart = _with_compound(plan, solver, seen[solver.cutset.labels[seen] >= 0])
    labels[COMPOUND] = solver.cutset.labels[seen][solver.cutset.labels[seen] >= 0]
    single = Solver(apart, UNSEEN, known, labels)
    places = zip(owner.tolist(), (active - network.offsets[owner]).tolist(), strict=True)
    return (
        Conditioned(solver, seen, known),
        Conditioned(single, np.arange(len(single.cutset.weight)), known),
        [Explanation(None), *(Explanation((network.names[v], state)) for v, state in places)],
    )


def _with_compound(plan: Decomposition, solver: Solver, seen: Ints) -> Decomposition:
    """A plan whose wide variables that a solver had in its cutset are one, in the states seen."""
    columns = np.zeros(plan.wide_columns, dtype=np.intp)
    columns[list(plan.wide_of)] = solver.plan.wide_of
    logs = solver.cutset.logs[np.ix_(seen, columns)]
    compound = Part(COMPOUND, solver.cutset.weight[seen], np.arange(len(columns)), logs)
    known = {part.variable for part in solver.plan.wide}
    return replace(plan, wide=(compound, *(p for p in plan.wide if p.variable not in known)))


Saying = tuple[tuple[tuple[int, bool], ...], float]
"""What an event says of one batch: (number, present or not) of its open findings, and survival."""


@record
class _Event:
    """By group and batch the open findings that turn out so, and what each must survive."""

    touched: Mapping[int, Mapping[int, tuple[tuple[int, bool], ...]]]
    survival: float

    def saying(self, group: int) -> tuple[tuple[int, Saying], ...]:
        """What it says of the batches of a group."""
        return tuple((row, (told, self.survival)) for row, told in self.touched[group].items())


class Conditioned:
    """States of the cutset passed forward and backward, ready to weigh events.

    An event changes the factors of a few batches. Everything before the first of them and behind
    the last is known, so only the steps between are walked again; where the frontier has a single
    state, what comes before and what comes after are independent given the cutset.
    """

    def __init__(self, solver: Solver, rows: Ints, log_evidence: float) -> None:
        pruner = Pruner(log_evidence - solver.plan.apart, UNSEEN / 2 / solver.turns)
        frontier = solver.forward(rows, pruner, taped=True)
        self.plan: Decomposition = solver.plan
        self.log_evidence = log_evidence
        posterior = np.exp(frontier.log_joint + solver.plan.apart - log_evidence)
        seen = keep_mass(posterior, UNSEEN)
        self.posterior, self.labels = posterior[seen], solver.cutset.labels[rows[seen]]
        self.conditions: Conditions = frontier.conditions.at(seen)
        tape = list(frontier.tape)
        self._steps = [trace.at(seen) for trace in tape]
        self._behind: list[Floats] = [np.ones((1, 1))] * len(tape)
        for k, (_, behind) in zip(
            range(len(tape) - 1, -1, -1), backward(frontier, posterior), strict=True
        ):
            self._behind[k] = behind[:, seen]
        self._where: dict[int, tuple[int, int]] = {}
        segment = 0
        for k, step in enumerate(tape):
            segment += len(step.before) == 1
            if isinstance(step, Visited):
                self._where[step.group] = (segment, k)
        self._absences: dict[tuple[int, tuple[int, ...]], Floats] = {}
        self._shares: dict[object, Floats] = {}
        self._plain: dict[range, Floats] = {}

    def event(self, told: Mapping[str, bool], survival: float) -> _Event:
        """An event, from open findings by name."""
        touched: dict[int, dict[int, tuple[tuple[int, bool], ...]]] = {}
        for name, present in told.items():
            group, row, query = self.plan.site_of(name)
            mine = touched.setdefault(group, {})
            mine[row] = (*mine.get(row, ()), (query, present))
        return _Event(touched, survival)

    def weights(self, told: Sequence[tuple[Mapping[str, bool], float]]) -> Floats:
        """(V, T) probability of each joint state seen together with each of V events.

        The events must ask about the same findings, as the outcomes of one test do.
        """
        events = [self.event(*each) for each in told]
        result: Floats = self.posterior[None].repeat(len(events), axis=0)
        asked: dict[int, list[int]] = {}
        for group in events[0].touched:
            asked.setdefault(self._where[group][0], []).append(group)
        for groups in asked.values():
            result = result * self._share(groups, events)
        return result

    def _share(self, groups: Sequence[int], events: Sequence[_Event]) -> Floats:
        """(V, T) chance of what events say of some groups of one segment, given each state."""
        told = tuple((g, *(event.saying(g) for event in events)) for g in groups)
        if told not in self._shares:
            steps = [self._where[g][1] for g in groups]
            path = range(min(steps), max(steps) + 1)
            if path not in self._plain:
                self._plain[path] = self._along(path, frozenset(), [_Event({}, 1.0)])
            plain = self._plain[path]
            changed = self._along(path, frozenset(groups), events)
            share = np.divide(changed, plain, out=np.zeros_like(changed), where=plain > 0)
            self._shares[told] = share
        return self._shares[told]

    def _along(self, path: range, asked: frozenset[int], events: Sequence[_Event]) -> Floats:
        """(V, T) weight of the path from one step to another under each event.

        Events go along together for as long as they have said the same.
        """
        spend(STEP * len(path))
        alpha, told = self._steps[path[0]].before[None], [0] * len(events)
        for k in path:
            step = self._steps[k]
            if isinstance(step, Introduced):
                alpha = alpha[:, step.old] * step.part.weight[step.own, None]
                alpha = _each(alpha, step.into, len(self._steps[k + 1].before))
                continue
            if step.group in asked:
                sayings = [event.saying(step.group) for event in events]
                number = {said: n for n, said in enumerate(dict.fromkeys(sayings))}
                pairs_of = list(zip(told, (number[said] for said in sayings), strict=True))
                history = {pair: n for n, pair in enumerate(dict.fromkeys(pairs_of))}
                old, said = map(list, zip(*history, strict=True))
                changed = self._changed(step, list(number))
                table(len(old) * alpha[0].size)
                alpha, told = (
                    alpha[old] * changed[said][:, step.told],
                    [history[p] for p in pairs_of],
                )
            else:
                table(alpha.size)
                alpha = alpha * step.product[step.told]
            if k < path[-1]:
                alpha = _each(alpha / step.taken, step.into, len(self._steps[k + 1].before))
        weight: Floats = np.einsum("vqt,qt->vt", alpha, self._behind[path[-1]])
        return weight[told]

    def _changed(self, step: Visited, sayings: Sequence[tuple[tuple[int, Saying], ...]]) -> Floats:
        """(K, D, T) the product of a group's factors, by K sayings about the same open findings."""
        rows = [row for row, _ in sayings[0]]
        rest = np.delete(np.arange(len(step.factors)), rows)
        product: Floats = np.multiply.reduce(step.factors[rest])[None]
        for place, row in enumerate(rows):
            told = [said[place][1] for said in sayings]
            number = {one: n for n, one in enumerate(dict.fromkeys(told))}
            known = np.stack([self._factor(step, row, *one) for one in number])
            table(len(told) * product[0].size)
            product = product * known[[number[one] for one in told]]
        return product

    def _factor(
        self, step: Visited, row: int, told: tuple[tuple[int, bool], ...], survival: float
    ) -> Floats:
        """(D, T) a batch's factor together with what its open findings turn out.

        What is present is all less what is absent, so q findings make 2**q terms.
        """
        absent = [query for query, present in told if not present]
        present = [query for query, present in told if present]
        factor = np.zeros(step.factors.shape[1:])
        for size in range(len(present) + 1):
            for some in combinations(present, size):
                queries = tuple(sorted((*absent, *some)))
                sign = (-1.0) ** size * survival ** len(queries)
                factor += sign * self._absent(step, queries)[row]
        return np.maximum(factor, 0.0)

    def _absent(self, step: Visited, queries: tuple[int, ...]) -> Floats:
        """(batches, D, T): a group's factors when these open findings turn out absent."""
        if not queries:
            return step.factors
        key = (step.group, queries)
        if key not in self._absences:
            group = self.plan.groups[step.group]
            polynomials = self.plan.families[group.family].absent(queries)[group.rows]
            left = self.conditions.left(group)
            factors = explained(group, polynomials, step.narrow, step.place) @ left
            for query in queries:
                kind = group.queries[query]
                ((outside, _),) = kind.outside
                factors = factors * step.narrow[0][:, step.place[kind.narrow], None]
                factors *= self.conditions.met(*outside)[0]
            table(factors.size, 1.0 + len(left) / 8)
            self._absences[key] = factors
        return self._absences[key]


def _each(values: Floats, into: Ints, size: int) -> Floats:
    """(V, size, T) from (V, old, T): see `aggregated`."""
    return aggregated(values.swapaxes(0, 1), into, size).swapaxes(0, 1)
