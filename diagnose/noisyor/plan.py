"""Which variables everything shares, which some sites share, and in what order to sweep.

Absent findings factorise: they only reweigh the states of their parents. Present and open
findings are *live*. A variable is

* *free* when no live finding has it as a parent,
* *private* when one site alone has,
* *common* when every live site has: all common variables become one bundle, one axis,
* *shared* otherwise: bundled with those that serve the same groups of sites.

Sites whose live findings look alike from outside form a *group* and are handled together.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import field
from itertools import pairwise

import numpy as np

from diagnose.noisyor.arrays import distinct, sorted_distinct
from diagnose.noisyor.bundle import Bundle, Bundles, Part
from diagnose.noisyor.factor import Column, Group, Survival, left_by_common
from diagnose.noisyor.least import Pieces, SharedParts, certain
from diagnose.noisyor.network import ABSENT, OPEN, Floats, Ints, Network
from diagnose.noisyor.site import Family
from diagnose.record import record

GROUP_SIZE = 8
"""Sites per group: few enough that a product of their factors cannot underflow."""

FEW_GROUPS, MANY_GROUPS, WIDE = 3, 8, 0.6
"""A shared variable counts as common when it serves this many groups with present findings,
and this part of all such groups."""

NEGLIGIBLE = 1e-9
"""All joint states left out together certainly carry less than this share of the evidence."""


@record
class Shared:
    """A bundle of shared variables, the columns it has, and the groups that it serves."""

    bundle: Bundle
    columns: dict[int, int]
    groups: frozenset[int]

    @property
    def weight(self) -> Floats:
        """(states) weights of the bundle's states."""
        return self.bundle.weight

    @property
    def log_survival(self) -> Floats:
        """(states, columns) their log survivals."""
        return self.bundle.log_survival


@record
class Block:
    """Some states of the common bundle: their ``rows`` in it, log weights and survivals."""

    rows: Ints
    log_weight: Floats
    common: Survival
    _left: dict[tuple[object, ...], Floats] = field(default_factory=dict, repr=False)

    def at(self, states: Ints) -> Block:
        """Only some of these states."""
        left = {key: table[:, states] for key, table in self._left.items()}
        return Block(self.rows[states], self.log_weight[states], self.common.at(states), left)

    def left(self, group: Group) -> Floats:
        """(N, T) what leaks and these common states leave to a group: see `left_by_common`."""
        key = (group.counts, *((column.common, column.leak) for column in group.classes))
        if key not in self._left:
            self._left[key] = left_by_common(group, self.common)
        return self._left[key]


@record
class Plan:
    """Everything about a network that does not change while it is swept.

    ``apart`` is the log weight of what no live finding depends on, and of the absent findings.
    """

    network: Network
    weight: Floats
    apart: float
    families: tuple[Family, ...]
    groups: tuple[Group, ...]
    shared: tuple[Shared, ...]
    common: Bundle
    columns: tuple[int, int]
    negligible: float

    def block(self, rows: Ints) -> Block:
        """These common states."""
        with np.errstate(divide="ignore"):
            log_weight = np.log(self.common.weight[rows])
        return Block(rows, log_weight, Survival.of(self.common.log_survival[rows]))


def make_plan(
    network: Network, negligible: float = NEGLIGIBLE, least: float = -np.inf
) -> Plan | None:
    """Sort a network's variables and findings; None when the absent findings are impossible.

    ``negligible`` is the share of the evidence that all joint states left out may carry,
    ``least`` a lower bound of the log evidence, if one is known.
    """
    weighed = _weigh(network)
    if weighed is None:
        return None
    weight, constant = weighed
    return _Planner(network, weight).plan(constant, negligible, least)


def _weigh(network: Network) -> tuple[Floats, float] | None:
    """Weights of all flat states after the absent findings, largest 1 in each variable."""
    entries = network.outcome[network.finding_of] == ABSENT
    with np.errstate(divide="ignore"):
        log_weight = np.log(network.prior) + np.bincount(
            network.state[entries], network.log_survival[entries], network.states
        )
        constant = float(np.log1p(-network.leak[network.outcome == ABSENT]).sum())
    largest = np.maximum.reduceat(log_weight, network.offsets[:-1])
    constant += float(largest.sum())
    if constant == -np.inf:
        return None
    return np.exp(log_weight - largest[network.variable_of]), constant


class _Planner:
    """Takes a network apart, once. Only `plan` is called from outside."""

    def __init__(self, network: Network, weight: Floats) -> None:
        self.network, self.weight = network, weight
        self.live = np.flatnonzero(network.outcome != ABSENT)
        rank = np.full(len(network.finding_names), -1)
        rank[self.live] = np.arange(len(self.live))
        first, self.site = distinct(network.site[self.live])
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
        return served

    def plan(self, constant: float, negligible: float, least: float) -> Plan:
        layout = self._layout()
        wide = self._wide(layout)
        if wide:
            self.role[wide] = -1
            layout = self._layout()
        free = np.flatnonzero(self.role == 0)
        apart = constant + float(np.log(self._totals()[free]).sum())
        pieces = self._pieces(layout)
        bundles = Bundles(negligible * certain(pieces, least - apart))
        return Plan(
            network=self.network,
            weight=self.weight,
            apart=apart,
            families=pieces.families,
            groups=pieces.groups,
            shared=tuple(
                Shared(bundles.of(parts, len(own)), own, served)
                for parts, own, served in pieces.shared
            ),
            common=bundles.of(pieces.common, pieces.columns[0]),
            columns=pieces.columns,
            negligible=negligible,
        )

    def _totals(self) -> Floats:
        """(variables) total weight of each."""
        totals: Floats = np.add.reduceat(self.weight, self.network.offsets[:-1])
        return totals

    def _wide(self, layout: _Layout) -> list[int]:
        """Shared variables that serve most groups with present findings.

        Where findings are asked about, a few such groups are enough for a variable that none
        of the open findings depends on.
        """
        failing = {g for g, sites in enumerate(layout.sites) if layout.shapes[sites[0]].classes}
        asked = self.network.outcome[self.live][self.finding] == OPEN
        depended_on = set(self.variable[asked].tolist())
        wide: list[int] = []
        for served, variables in layout.serving.items():
            spread = len(served & failing)
            past = bool(depended_on) and depended_on.isdisjoint(variables)
            least = FEW_GROUPS if past else MANY_GROUPS
            if spread >= max(least, WIDE * len(failing)):
                wide += variables
        return wide

    def _layout(self) -> _Layout:
        """Which sites are alike, and what serves them, under the present roles."""
        role = self.role[self.variable]
        common, common_of = self._signatures(role == -1)
        shared, shared_of = self._signatures(role > 1)
        _, private_of = self._signatures(role == 1)
        leaks = self.network.leak[self.live].tolist()
        outsides = list(map(Column, common_of, shared_of, leaks))
        shapes = [self._shape(members, outsides, private_of) for members in self._by_site()]
        sites = _alike(shapes)
        columns = self._columns(shared)
        serving = _serving(shapes, sites, columns)
        return _Layout(shapes, sites, columns, serving, (common, shared))

    def _pieces(self, layout: _Layout) -> Pieces:
        """The families, groups and parts of bundles of a layout."""
        families, places = self._families(layout.shapes)
        polynomials = [family.polynomial for family in families]
        common, shared = layout.representatives
        return Pieces(
            families=families,
            groups=tuple(
                _group(layout.shapes[sites[0]], sites, places, polynomials)
                for sites in layout.sites
            ),
            common=self._parts(np.flatnonzero(self.role == -1), dict(enumerate(common))),
            shared=[
                self._shared_parts(served, variables, layout)
                for served, variables in layout.serving.items()
            ],
            columns=(len(common), len(shared)),
        )

    def _signatures(self, use: np.typing.NDArray[np.bool_]) -> tuple[list[int], list[int]]:
        """Findings with the same entries among ``use``: a representative each, and which."""
        state, log = self.state[use], self.log[use]
        bounds = np.searchsorted(self.finding[use], np.arange(len(self.live) + 1)).tolist()
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
        self, members: Sequence[int], outsides: Sequence[Column], private_of: Sequence[int]
    ) -> _Shape:
        classes: dict[tuple[Column, int], list[int]] = {}
        queries = []
        outcome = self.network.outcome[self.live]
        for f in members:
            if outcome[f] == OPEN:
                queries.append(f)
            else:
                classes.setdefault((outsides[f], private_of[f]), []).append(f)
        firsts = sorted(classes.values(), key=lambda fs: outsides[fs[0]].common)
        return _Shape(
            classes=tuple(outsides[fs[0]] for fs in firsts),
            counts=tuple(map(len, firsts)),
            queries=tuple(outsides[f] for f in queries),
            findings=(*(fs[0] for fs in firsts), *queries),
        )

    def _families(
        self, shapes: Sequence[_Shape]
    ) -> tuple[tuple[Family, ...], list[tuple[int, int]]]:
        """One family per shape, and where each site went."""
        kinds: dict[tuple[tuple[int, ...], int], list[int]] = defaultdict(list)
        for site, shape in enumerate(shapes):
            kinds[shape.counts, len(shape.queries)].append(site)
        places = [(0, 0)] * len(shapes)
        families = []
        for number, ((counts, queries), sites) in enumerate(kinds.items()):
            for row, site in enumerate(sites):
                places[site] = (number, row)
            columns = np.array([shapes[site].findings for site in sites], dtype=np.intp)
            families.append(self._family(counts, queries, columns))
        return tuple(families), places

    def _family(self, counts: tuple[int, ...], queries: int, findings: Ints) -> Family:
        """Fill the padded arrays of one family; ``findings`` is (sites, classes + queries)."""
        row = np.full(len(self.live), -1)
        column = np.full(len(self.live), -1)
        row[findings] = np.arange(len(findings))[:, None]
        column[findings] = np.arange(findings.shape[1])
        use = (self.role[self.variable] == 1) & (row[self.finding] >= 0)
        state, variable = self.state[use], self.variable[use]
        r, c = row[self.finding[use]], column[self.finding[use]]
        owned = sorted_distinct(r * len(self.network.names) + variable)
        owner, which = np.divmod(owned, len(self.network.names))
        place = np.arange(len(owned)) - np.searchsorted(owner, owner)
        variables = np.full((len(findings), int(place.max(initial=0)) + 1), -1, dtype=np.intp)
        variables[owner, place] = which
        within = np.zeros(len(self.network.names), dtype=np.intp)
        within[which] = place
        weight = self._padded_weight(variables)
        logs = np.zeros((*weight.shape, findings.shape[1]))
        logs[r, within[variable], state - self.network.offsets[variable], c] = self.log[use]
        return Family(counts, weight, logs[..., : len(counts)], logs[..., len(counts) :], variables)

    def _padded_weight(self, variables: Ints) -> Floats:
        """(R, V, S) weights of the variables' states, 1 on state 0 where there is none."""
        offsets = self.network.offsets
        sizes = np.diff(offsets)[variables] * (variables >= 0)
        state = np.arange(max(int(sizes.max(initial=0)), 1))
        real = state < sizes[..., None]
        flat = np.where(real, offsets[variables][..., None] + state, 0)
        padded = np.where(real, self.weight[flat], 0.0)
        padded[variables < 0, 0] = 1.0
        return padded

    def _columns(self, representatives: Sequence[int]) -> dict[int, set[int]]:
        """The shared signatures, by number, in which each shared variable has a part."""
        number_of = {f: number for number, f in enumerate(representatives)}
        columns: dict[int, set[int]] = defaultdict(set)
        pairs = self.role[self.variable] > 1
        for f, v in zip(self.finding[pairs].tolist(), self.variable[pairs].tolist(), strict=True):
            if f in number_of:
                columns[v].add(number_of[f])
        return columns

    def _shared_parts(
        self, served: frozenset[int], variables: Sequence[int], layout: _Layout
    ) -> SharedParts:
        """Shared variables that serve the same groups, with the columns those groups use."""
        touched = sorted(set().union(*(layout.columns[v] for v in variables)))
        chosen = {k: layout.representatives[1][number] for k, number in enumerate(touched)}
        columns = {number: k for k, number in enumerate(touched)}
        return self._parts(variables, chosen), columns, served

    def _parts(self, variables: Iterable[int], findings: dict[int, int]) -> list[Part]:
        """The variables as parts of a bundle whose column k is the finding ``findings[k]``."""
        column = np.full(len(self.live), -1)
        for k, f in findings.items():
            column[f] = k
        chosen = column[self.finding] >= 0
        table = np.zeros((self.network.states, len(findings)))
        table[self.state[chosen], column[self.finding[chosen]]] = self.log[chosen]
        offsets = self.network.offsets
        own = [(int(v), slice(offsets[v], offsets[v + 1])) for v in variables]
        return [Part(v, self.weight[states], table[states].copy()) for v, states in own]


@record
class _Shape:
    classes: tuple[Column, ...]
    counts: tuple[int, ...]
    queries: tuple[Column, ...]
    findings: tuple[int, ...]


@record
class _Layout:
    """Sites by what they look like from outside, and what serves them.

    Parameters
    ----------
    shapes: of every site.
    sites: of every group to be.
    columns: the shared signatures, by number, in which each shared variable has a part.
    serving: the shared variables that serve the same groups.
    representatives: a finding for every common and for every shared signature.
    """

    shapes: list[_Shape]
    sites: list[tuple[int, ...]]
    columns: dict[int, set[int]]
    serving: dict[frozenset[int], list[int]]
    representatives: tuple[list[int], list[int]]


def _alike(shapes: Sequence[_Shape]) -> list[tuple[int, ...]]:
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
    shapes: Sequence[_Shape], sites: Sequence[Sequence[int]], columns: dict[int, set[int]]
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


def _group(
    shape: _Shape,
    sites: Sequence[int],
    places: Sequence[tuple[int, int]],
    polynomials: Sequence[Floats],
) -> Group:
    """Sites with the same outside; those with alike insides stand together, in a fixed order."""

    def inside(site: int) -> bytes:
        family, row = places[site]
        return bytes(polynomials[family][row].data)

    ordered = tuple(sorted(sites, key=inside))
    members = tuple(places[site] for site in ordered)
    return Group(shape.classes, shape.counts, shape.queries, ordered, members)
