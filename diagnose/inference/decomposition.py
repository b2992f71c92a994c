"""A network taken apart: batches of findings, and the role of every variable.

Absent findings factorise: they only reweigh the states of their parents. Present and open
findings are *live*. They are visited in *batches*, those of one site together. A variable is

* *free* when no live finding has it as a parent,
* *private* when one batch alone has: it is summed away there by presence expansion,
* *wide* when nearly every batch has: it belongs to the cutset, on which all else is conditioned,
* *narrow* otherwise: it is introduced where it is first met, and forgotten behind the last.

Batches whose live findings look alike from outside form a *group* and are visited together.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property
from itertools import pairwise

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.inference.aggregation import FLOOR, distinct
from diagnose.inference.batching import rebatched
from diagnose.inference.expansion import width
from diagnose.inference.network import ABSENT, PRESENT, Network
from diagnose.inference.private import Family
from diagnose.record import record

GROUP_SIZE = 8
"""Batches per group: few enough that a product of their factors cannot underflow."""

WIDE = 0.6
"""A variable that this part of many batches with present findings has is wide."""

WIDE_OCCASION = 0.25
"""The same of what bears on one occasion: it is conditioned on, for frontiers grow by all rows."""

MANY_BATCHES = 8

FEW_INDICES = 6
"""Batches with no more multi-indices are never better taken another way."""

Outside = tuple[int, float]
"""What a finding meets besides narrow and private variables: its wide column and its leak."""


@record
class _Kind:
    """Live findings of a batch that narrow and private variables do not tell apart.

    ``narrow`` is their column, ``outside`` what they meet besides, and how many meet it.
    """

    narrow: int
    outside: tuple[tuple[Outside, int], ...]

    @property
    def count(self) -> int:
        """How many findings there are.

        >>> _Kind(0, (((0, 0.1), 2), ((1, 0.1), 1))).count
        3
        """
        return sum(count for _, count in self.outside)


@record
class VisitGroup:
    """Batches with the same outside: the kinds of their present findings, and of each open one.

    The ``batches`` are the ``rows`` of a ``family``; ``findings`` are the open ones of each batch.
    """

    classes: tuple[_Kind, ...]
    queries: tuple[_Kind, ...]
    family: int
    rows: Ints
    batches: tuple[int, ...]
    findings: tuple[tuple[int, ...], ...]

    @property
    def counts(self) -> tuple[int, ...]:
        """Present findings of each kind."""
        return tuple(kind.count for kind in self.classes)

    @property
    def columns(self) -> frozenset[int]:
        """The narrow columns that the group uses."""
        return frozenset(kind.narrow for kind in (*self.classes, *self.queries))


@record
class Part:
    """One wide or narrow variable: the weight of its states, and their log survivals.

    ``columns`` are those in which its ``logs`` (states, columns) stand.
    """

    variable: int
    weight: Floats
    columns: Ints
    logs: Floats


@record
class Decomposition:
    """Everything about a network that does not change while it is solved.

    ``apart`` is the log weight of the absent findings and of what no live finding depends on;
    ``batch`` and ``wide_of`` say by live finding its batch and which kind it is for wide variables;
    narrow ones tell ``narrow_columns`` kinds apart.
    """

    network: Network
    weight: Floats
    batch: Ints
    apart: float
    families: tuple[Family, ...]
    groups: tuple[VisitGroup, ...]
    wide: tuple[Part, ...]
    narrow: tuple[Part, ...]
    wide_of: tuple[int, ...]
    narrow_columns: int

    @property
    def wide_columns(self) -> int:
        """How many kinds of live findings wide variables tell apart."""
        return max(self.wide_of, default=-1) + 1

    def site_of(self, finding: str) -> tuple[int, int, int]:
        """Of an open finding by name: its group, its batch there and its number in the batch.

        Raises KeyError when there is no such open finding.
        """
        return self._open[finding]

    @cached_property
    def _open(self) -> dict[str, tuple[int, int, int]]:
        names = self.network.finding_names
        return {
            names[f]: (g, batch, query)
            for g, group in enumerate(self.groups)
            for batch, findings in enumerate(group.findings)
            for query, f in enumerate(findings)
        }


def decompose(
    network: Network, cutset: Collection[int] = (), batches: Ints | None = None
) -> Decomposition | None:
    """Sort a network's findings and variables; None when the absent findings are impossible.

    The variables ``cutset`` belong to the cutset in any case; ``batches`` says of each live finding
    in which batch it is visited (by default what costs least: see `batching`).
    """
    weighed = _weigh(network)
    if weighed is None:
        return None
    weight, constant = weighed
    if batches is not None:
        return _Live(network, weight, batches).decomposition(constant, cutset)
    live = _Live(network, weight, network.site[network.outcome != ABSENT])
    found = live.decomposition(constant, cutset)
    widest = np.ones(live.batches, dtype=np.intp)
    for group in found.groups:
        widest[list(group.batches)] = width(group.counts)
    if widest.max(initial=1) <= FEW_INDICES:
        return found
    other = rebatched(live.batch, widest, live.occasion)
    if other is None:
        return found
    if other is not live.occasion:
        cutset = {*cutset, *(part.variable for part in found.wide)}
    return _Live(network, weight, other).decomposition(constant, cutset)


def _weigh(network: Network) -> tuple[Floats, float] | None:
    """Weights of all flat states after the absent findings, largest 1 in each variable."""
    entries = network.outcome[network.finding_of] == ABSENT
    with np.errstate(divide="ignore"):
        log_weight = np.log(network.prior) + np.bincount(
            network.state[entries], network.log_survival[entries], network.states
        )
        constant = float(np.log1p(-network.leak[network.outcome == ABSENT]).sum())
    largest = (
        np.maximum.reduceat(log_weight, network.offsets[:-1]) if network.states else log_weight
    )
    constant += float(largest.sum())
    if constant == -np.inf:
        return None
    return np.exp(log_weight - largest[network.variable_of]), constant


class _Live:
    """The live findings, numbered anew, in batches, and the entries that bear on them."""

    def __init__(self, network: Network, weight: Floats, batches: Ints) -> None:
        self.network, self.weight = network, weight
        self.findings = np.flatnonzero(network.outcome != ABSENT)
        rank = np.full(len(network.finding_names), -1)
        rank[self.findings] = np.arange(len(self.findings))
        use = (rank[network.finding_of] >= 0) & (network.log_survival < 0)
        use &= weight[network.state] > 0
        self.state, self.log = network.state[use], network.log_survival[use]
        self.finding = rank[network.finding_of[use]]
        self.variable = network.variable_of[self.state]
        self.outcome = network.outcome[self.findings]
        self.leak = network.leak[self.findings].tolist()
        first, self.batch = distinct(batches)
        self.batches = len(first)
        own = network.occasion[self.findings]
        alone = own.max(initial=0) + 1 + np.arange(len(own))
        self.occasion = distinct(np.where(own < 0, alone, own))[1]
        size = max(len(self.findings), 1)
        pairs = self.variable * size + self.finding
        self._bearing = np.divmod(pairs[distinct(pairs)[0]], size)
        self.served = self._serving(np.ones(self.batches, dtype=bool))
        self._count = np.bincount(self._bearing[0], minlength=len(network.names))

    def _roles(self, cutset: Collection[int]) -> Ints:
        """(variables) how many batches each serves: 0 free, 1 private, -1 wide, else narrow."""
        failing = np.zeros(self.batches, dtype=bool)
        failing[self.batch[self.outcome == PRESENT]] = True
        wide = (self.served == self.batches) & (self.served > 1)
        if failing.sum() > 1:
            here, of_occasions = self._serving(failing), self._of_occasions()
            least = np.where(of_occasions, WIDE_OCCASION, WIDE) * failing.sum()
            wide |= here >= np.maximum(least, np.where(of_occasions, 2, MANY_BATCHES))
        wide[list(cutset)] = self.served[list(cutset)] > 0
        return np.where(wide, -1, self.served)

    def _of_occasions(self) -> np.typing.NDArray[np.bool_]:
        """(variables) which bear on all findings of one occasion and on no others."""
        variable, finding = self._bearing
        of_one = np.zeros(len(self.served), dtype=bool)
        of_one[variable] = (
            self._count[variable] == np.bincount(self.occasion)[self.occasion[finding]]
        )
        first = np.flatnonzero(np.diff(variable, prepend=-1))
        low, high = (f.reduceat(self.occasion[finding], first) for f in (np.minimum, np.maximum))
        of_one[variable[first]] &= low == high
        return of_one

    def _serving(self, batches: np.typing.NDArray[np.bool_]) -> Ints:
        """(variables) how many of the batches each serves."""
        size = max(self.batches, 1)
        batch = self.batch[self.finding]
        pairs = (self.variable * size + batch)[batches[batch]]
        return np.bincount(pairs[distinct(pairs)[0]] // size, minlength=len(self.network.names))

    def decomposition(self, constant: float, cutset: Collection[int]) -> Decomposition:
        """Everything sorted, with some variables in the cutset in any case."""
        self.role = self._roles(cutset)
        role = self.role[self.variable]
        wide, wide_of = self._signatures(role == -1)
        narrow, narrow_of = self._signatures(role > 1)
        groups, families = self._groups(wide_of, narrow_of)
        totals = (
            np.add.reduceat(self.weight, self.network.offsets[:-1])
            if self.network.states
            else self.weight
        )
        return Decomposition(
            network=self.network,
            weight=self.weight,
            batch=self.batch,
            apart=constant + float(np.log(totals[self.role == 0]).sum()),
            families=families,
            groups=groups,
            wide=tuple(self._parts(self.role == -1, wide)),
            narrow=tuple(self._parts(self.role > 1, narrow)),
            wide_of=tuple(wide_of),
            narrow_columns=len(narrow),
        )

    def _signatures(self, use: np.typing.NDArray[np.bool_]) -> tuple[list[int], list[int]]:
        """Findings with the same entries among ``use``: an example of each, and which."""
        state, log = self.state[use], self.log[use]
        bounds = np.searchsorted(self.finding[use], np.arange(len(self.findings) + 1)).tolist()
        seen: dict[tuple[bytes, bytes], int] = {}
        firsts, numbers = [], []
        for f, (start, stop) in enumerate(pairwise(bounds)):
            key = (state[start:stop].tobytes(), log[start:stop].tobytes())
            if key not in seen:
                firsts.append(f)
            numbers.append(seen.setdefault(key, len(seen)))
        return firsts, numbers

    def _parts(
        self, chosen: np.typing.NDArray[np.bool_], examples: Sequence[int]
    ) -> Iterable[Part]:
        """The chosen variables, with columns as the examples have them."""
        column = np.full(len(self.findings), -1)
        column[examples] = np.arange(len(examples))
        use = chosen[self.variable] & (column[self.finding] >= 0)
        order = self.variable[use].argsort(kind="stable")
        state, log = self.state[use][order], self.log[use][order]
        columns = column[self.finding[use]][order]
        variables = np.flatnonzero(chosen)
        bounds = self.variable[use][order].searchsorted(np.append(variables, len(chosen)))
        for v, start, stop in zip(variables.tolist(), bounds[:-1], bounds[1:], strict=True):
            first_of, place = distinct(columns[start:stop])
            own = columns[start:stop][first_of]
            first, end = self.network.offsets[v : v + 2].tolist()
            logs = np.zeros((end - first, len(own)))
            logs[state[start:stop] - first, place] = np.maximum(log[start:stop], FLOOR)
            yield Part(v, self.weight[first:end], own, logs)

    def _groups(
        self, wide_of: Sequence[int], narrow_of: Sequence[int]
    ) -> tuple[tuple[VisitGroup, ...], tuple[Family, ...]]:
        """Batches that look alike from outside, and the families of their insides."""
        outside = list(zip(wide_of, self.leak, strict=True))
        _, private_of = self._signatures(self.role[self.variable] == 1)
        shapes = [
            _shape(members, self.outcome, outside, narrow_of, private_of)
            for members in self._by_batch()
        ]
        families: dict[tuple[tuple[int, ...], int], list[int]] = defaultdict(list)
        alike: dict[tuple[object, ...], list[tuple[int, int]]] = defaultdict(list)
        for batch, shape in enumerate(shapes):
            same = families[shape.size]
            alike[shape.classes, shape.queries].append((batch, len(same)))
            same.append(batch)
        number = {size: k for k, size in enumerate(families)}
        groups = [
            self._group(shapes, some[k : k + GROUP_SIZE], number)
            for some in alike.values()
            for k in range(0, len(some), GROUP_SIZE)
        ]
        insides = [
            self._family(counts, np.array([[*shapes[b].firsts, *shapes[b].asked] for b in batches]))
            for (counts, _), batches in families.items()
        ]
        return tuple(groups), tuple(insides)

    def _group(
        self,
        shapes: Sequence[Shape],
        some: Sequence[tuple[int, int]],
        number: Mapping[tuple[tuple[int, ...], int], int],
    ) -> VisitGroup:
        """The group of some batches that look alike, with their rows in the family."""
        batches, rows = zip(*some, strict=True)
        shape = shapes[batches[0]]
        return VisitGroup(
            classes=shape.classes,
            queries=shape.queries,
            family=number[shape.size],
            rows=np.array(rows, dtype=np.intp),
            batches=batches,
            findings=tuple(tuple(self.findings[list(shapes[b].asked)].tolist()) for b in batches),
        )

    def _by_batch(self) -> list[list[int]]:
        members: list[list[int]] = [[] for _ in range(self.batches)]
        for f, batch in enumerate(self.batch.tolist()):
            members[batch].append(f)
        return members

    def _family(self, counts: tuple[int, ...], findings: Ints) -> Family:
        """Fill the padded arrays of one family; ``findings`` is (batches, classes + queries)."""
        names = len(self.network.names)
        row, column = np.full((2, len(self.findings)), -1)
        row[findings] = np.arange(len(findings))[:, None]
        column[findings] = np.arange(findings.shape[1])
        use = (self.role[self.variable] == 1) & (row[self.finding] >= 0)
        state, variable = self.state[use], self.variable[use]
        r, c = row[self.finding[use]], column[self.finding[use]]
        pairs = r * names + variable
        owner, which = np.divmod(pairs[distinct(pairs)[0]], names)
        place = np.arange(len(owner)) - np.searchsorted(owner, owner)
        variables = np.full((len(findings), int(place.max(initial=0)) + 1), -1, dtype=np.intp)
        variables[owner, place] = which
        within = np.zeros(names, dtype=np.intp)
        within[which] = place
        weight = self._padded_weight(variables)
        logs = np.zeros((*weight.shape, findings.shape[1]))
        logs[r, within[variable], state - self.network.offsets[variable], c] = self.log[use]
        return Family(counts, weight, logs[..., : len(counts)], logs[..., len(counts) :], variables)

    def _padded_weight(self, variables: Ints) -> Floats:
        """(R, V, S) weights of the variables' states, 1 on state 0 where there is none."""
        offsets = self.network.offsets
        sizes = np.append(np.diff(offsets), 0)[variables]
        state = np.arange(max(int(sizes.max(initial=0)), 1))
        real = state < sizes[..., None]
        flat = np.where(real, offsets[variables][..., None] + state, -1)
        padded = np.append(self.weight, 0.0)[flat]
        padded[variables < 0, 0] = 1.0
        return padded


@record
class Shape:
    """What a batch looks like from outside.

    Kinds of present and of open findings; an example of each of the ``firsts``, and all that are
    ``asked`` about.
    """

    classes: tuple[_Kind, ...]
    queries: tuple[_Kind, ...]
    firsts: tuple[int, ...]
    asked: tuple[int, ...]

    @property
    def size(self) -> tuple[tuple[int, ...], int]:
        """How many findings there are of each kind of present ones, and how many open ones."""
        return tuple(kind.count for kind in self.classes), len(self.queries)


def _shape(
    members: Sequence[int],
    outcome: Ints,
    outside: Sequence[Outside],
    narrow_of: Sequence[int],
    private_of: Sequence[int],
) -> Shape:
    """What a batch looks like from outside."""
    alike: dict[tuple[int, int], list[int]] = defaultdict(list)
    queries = [f for f in members if outcome[f] != PRESENT]
    for f in members:
        if outcome[f] == PRESENT:
            alike[narrow_of[f], private_of[f]].append(f)
    found = [
        (_Kind(narrow, tuple(sorted(Counter(outside[f] for f in some).items()))), some[0])
        for (narrow, _), some in alike.items()
    ]
    found.sort(key=lambda each: (each[0].outside, each[0].narrow))
    return Shape(
        tuple(kind for kind, _ in found),
        tuple(_Kind(narrow_of[f], ((outside[f], 1),)) for f in queries),
        tuple(f for _, f in found),
        tuple(queries),
    )
