"""Which live findings look alike, and what is shared by whom.

Absent findings factorise: they only reweigh the states of their parents. Present and open
findings are *live*. A variable is

* *free* when no live finding has it as a parent,
* *private* when one site alone has,
* *common* when every live site has, or nearly every one, or when it is one of many that are
  tried again and again (see `repeats`),
* *shared* otherwise.

Sites whose live findings look alike from outside form a *group* and are handled together.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

import numpy as np

from diagnose.noisyor.arrays import distinct, sorted_distinct
from diagnose.noisyor.factor import Column
from diagnose.noisyor.network import ABSENT, OPEN, Floats, Ints, Network
from diagnose.noisyor.repeats import Repeats
from diagnose.record import record

GROUP_SIZE = 8
"""Sites per group: few enough that a product of their factors cannot underflow."""

FEW_GROUPS, MANY_GROUPS, WIDE = 3, 8, 0.6
"""A shared variable counts as common when it serves this many groups with present findings,
and this part of all such groups."""


Outside = tuple[int, float]
"""What a finding meets of common variables (the number of a column), and its leak."""


@record
class Shape:
    """What a site looks like from outside, and a live finding for each of its kinds.

    ``classes`` are the kinds of present findings that what is shared or private tells apart (see
    `Column.besides` for what is common) and ``counts`` how many there are of each,
    ``queries`` the kinds of open ones; ``findings`` are examples of the first and all of these.
    """

    classes: tuple[Column, ...]
    counts: tuple[int, ...]
    queries: tuple[Column, ...]
    findings: tuple[int, ...]


@record
class Layout:
    """Sites by what they look like from outside, and what serves them.

    Parameters
    ----------
    shapes: of every site.
    sites: of every group to be.
    columns: the shared signatures, by number, in which each shared variable has a part.
    serving: the shared variables that serve the same groups.
    representatives: a finding for every common and for every shared signature.
    repeats: common variables that may change places, with their common signatures.
    """

    shapes: list[Shape]
    sites: list[tuple[int, ...]]
    columns: dict[int, set[int]]
    serving: dict[frozenset[int], list[int]]
    representatives: tuple[list[int], list[int]]
    repeats: list[Repeats]


class Live:
    """The live findings of a network, what bears on them, and the role of every variable.

    Parameters
    ----------
    network: the findings, F of them live.
    weight: (states) weights after the absent findings.
    repeated: variables that may change places, list by list (see `repeats`).

    Afterwards ``findings`` are the numbers of the live ones and ``site`` theirs, counted anew.
    Entry by entry there are the ``state`` that bears on the live ``finding``, its ``log``
    survival and the ``variable`` that has it; ``role`` is (variables) how many sites each
    serves: 0 free, 1 private, -1 common, else shared.
    """

    def __init__(
        self, network: Network, weight: Floats, repeated: Sequence[Sequence[int]] = ()
    ) -> None:
        self.network, self.repeated = network, repeated
        self.findings = np.flatnonzero(network.outcome != ABSENT)
        rank = np.full(len(network.finding_names), -1)
        rank[self.findings] = np.arange(len(self.findings))
        first, self.site = distinct(network.site[self.findings])
        self.sites = len(first)
        use = (rank[network.finding_of] >= 0) & (network.log_survival < 0)
        use &= weight[network.state] > 0
        self.state, self.log = network.state[use], network.log_survival[use]
        self.finding = rank[network.finding_of[use]]
        self.variable = network.variable_of[self.state]
        self.role = self._roles()

    def _roles(self) -> Ints:
        """(variables) how many sites each serves: 0 free, 1 private, -1 common, else shared."""
        pairs = sorted_distinct(self.variable * max(self.sites, 1) + self.site[self.finding])
        served = np.bincount(pairs // max(self.sites, 1), minlength=len(self.network.names))
        if self.sites > 1:
            served[served == self.sites] = -1
        for alike in self.repeated:
            served[alike] = -1
        return served

    def entries(self, v: int) -> Ints:
        """The numbers of all entries of a variable's states.

        >>> from diagnose.noisyor import Finding, Variable
        >>> two = [Variable("cold", (0.8, 0.2)), Variable("flu", (0.9, 0.1))]
        >>> fever = Finding("fever", {"cold": (1, 0.6), "flu": (1, 0.2)}, present=True)
        >>> cough = Finding("cough", {"flu": (1, 0.5)}, present=True)
        >>> network = Network.of(two, [fever, cough])
        >>> Live(network, network.prior).entries(1).tolist()  # without the states that all survive
        [1, 2]
        """
        order, bounds = self._by_variable
        return order[bounds[v] : bounds[v + 1]]

    @cached_property
    def _by_variable(self) -> tuple[Ints, Ints]:
        order = self.variable.argsort(kind="stable")
        return order, self.variable[order].searchsorted(np.arange(len(self.network.names) + 1))

    def layout(self) -> Layout:
        """Which sites are alike, and what serves them, once nearly common causes are common.

        >>> from diagnose.noisyor import Finding, Variable
        >>> rows = [Finding(row, {"pump": (1, 0.5)}, present=True) for row in "ab"]
        >>> rows.append(Finding("c", {}, leak=0.5, present=True))
        >>> network = Network.of([Variable("pump", (0.9, 0.1))], rows)
        >>> layout = Live(network, network.prior).layout()
        >>> layout.sites, dict(layout.serving)
        ([(0, 1), (2,)], {frozenset({0}): [0]})
        """
        layout = self._layout()
        wide = self._wide(layout)
        if not wide:
            return layout
        self.role[wide] = -1
        return self._layout()

    def _wide(self, layout: Layout) -> list[int]:
        """Shared variables that serve most groups with present findings.

        Where findings are asked about, a few such groups are enough for a variable that none
        of the open findings depends on.
        """
        failing = {g for g, sites in enumerate(layout.sites) if layout.shapes[sites[0]].classes}
        asked = self.network.outcome[self.findings][self.finding] == OPEN
        depended_on = set(self.variable[asked].tolist())
        wide: list[int] = []
        for served, variables in layout.serving.items():
            spread = len(served & failing)
            past = bool(depended_on) and depended_on.isdisjoint(variables)
            least = FEW_GROUPS if past else MANY_GROUPS
            if spread >= max(least, WIDE * len(failing)):
                wide += variables
        return wide

    def _layout(self) -> Layout:
        """Which sites are alike, and what serves them, under the present roles."""
        role = self.role[self.variable]
        common, common_of = self._signatures(role == -1)
        shared, shared_of = self._signatures(role > 1)
        _, private_of = self._signatures(role == 1)
        leaks = self.network.leak[self.findings].tolist()
        outsides = list(zip(common_of, leaks, strict=True))
        shapes = [
            self._shape(members, outsides, shared_of, private_of) for members in self._by_site()
        ]
        sites = _alike(shapes)
        columns = self._columns(shared)
        serving = _serving(shapes, sites, columns)
        repeats = [self._repeats(alike, common_of) for alike in self.repeated]
        return Layout(shapes, sites, columns, serving, (common, shared), repeats)

    def _repeats(self, alike: Sequence[int], common_of: Sequence[int]) -> Repeats:
        """Variables that may change places, with the columns of what each of them bears on."""
        columns = []
        for v in alike:
            findings = np.flatnonzero(np.bincount(self.finding[self.variable == v]))
            in_order = findings[np.argsort(self.site[findings], kind="stable")]
            columns.append([common_of[f] for f in in_order.tolist()])
        kinds = dict.fromkeys(zip(*columns, strict=True))
        return Repeats(alike, np.array(list(kinds), dtype=np.intp).T)

    def _signatures(self, use: np.typing.NDArray[np.bool_]) -> tuple[list[int], list[int]]:
        """Findings with the same entries among ``use``: a representative each, and which."""
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

    def _by_site(self) -> list[list[int]]:
        members: list[list[int]] = [[] for _ in range(self.sites)]
        for f, site in enumerate(self.site.tolist()):
            members[site].append(f)
        return members

    def _shape(
        self,
        members: Sequence[int],
        outsides: Sequence[Outside],
        shared_of: Sequence[int],
        private_of: Sequence[int],
    ) -> Shape:
        classes: dict[tuple[int, int], list[tuple[Outside, int]]] = {}
        queries = []
        outcome = self.network.outcome[self.findings[members]].tolist()
        for f, told in zip(members, outcome, strict=True):
            if told == OPEN:
                queries.append(f)
            else:
                kind = shared_of[f], private_of[f]
                classes.setdefault(kind, []).append((outsides[f], f))
        for alike in classes.values():
            alike.sort()
        firsts = sorted(classes.items(), key=_first_common)
        return Shape(
            classes=tuple(_kind(shared, alike) for (shared, _), alike in firsts),
            counts=tuple(len(alike) for _, alike in firsts),
            queries=tuple(_kind(shared_of[f], [(outsides[f], f)]) for f in queries),
            findings=(*(alike[0][1] for _, alike in firsts), *queries),
        )

    def _columns(self, representatives: Sequence[int]) -> dict[int, set[int]]:
        """The shared signatures, by number, in which each shared variable has a part."""
        number_of = {f: number for number, f in enumerate(representatives)}
        columns: dict[int, set[int]] = defaultdict(set)
        pairs = self.role[self.variable] > 1
        for f, v in zip(self.finding[pairs].tolist(), self.variable[pairs].tolist(), strict=True):
            if f in number_of:
                columns[v].add(number_of[f])
        return columns


def _first_common(kind: tuple[object, Sequence[tuple[Outside, int]]]) -> int:
    """The common column of the first finding of a kind."""
    return kind[1][0][0][0]


def _kind(shared: int, alike: Sequence[tuple[Outside, int]]) -> Column:
    """The first of some findings, with those that differ from it by what is common or by leak."""
    (common, leak), _ = alike[0]
    if len(alike) == 1:
        return Column(common, shared, leak)
    times: dict[Outside, int] = {}
    for outside, _ in alike:
        times[outside] = times.get(outside, 0) + 1
    _, *besides = [(*outside, count) for outside, count in times.items()]
    return Column(common, shared, leak, tuple(besides))


def _alike(shapes: Sequence[Shape]) -> list[tuple[int, ...]]:
    """Sites with the same outside, at most `GROUP_SIZE` at a time."""
    alike: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for site, shape in enumerate(shapes):
        alike[shape.classes, shape.counts, shape.queries].append(site)
    return [
        tuple(sites[start : start + GROUP_SIZE])
        for sites in alike.values()
        for start in range(0, len(sites), GROUP_SIZE)
    ]


def _serving(
    shapes: Sequence[Shape], sites: Sequence[Sequence[int]], columns: dict[int, set[int]]
) -> dict[frozenset[int], list[int]]:
    """By the groups that they serve, the shared variables."""
    used: dict[int, set[int]] = defaultdict(set)
    for g, some in enumerate(sites):
        for column in (*shapes[some[0]].classes, *shapes[some[0]].queries):
            used[column.shared].add(g)
    serving: dict[frozenset[int], list[int]] = defaultdict(list)
    for v, numbers in columns.items():
        serving[frozenset(g for number in numbers for g in used[number])].append(v)
    return serving
