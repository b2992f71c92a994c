"""A network taken apart, once: families, groups, and bundles of what is shared.

Private variables go with their site's family. All common variables become one bundle, one axis;
shared ones are bundled with those that serve the same groups of sites. See `layout` for what
these are.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field

import numpy as np

from diagnose.noisyor.arrays import sorted_distinct
from diagnose.noisyor.budget import count
from diagnose.noisyor.bundle import Bundle, Bundles, Part
from diagnose.noisyor.factor import Group, Survival, left_by_common
from diagnose.noisyor.layout import Live, Shape
from diagnose.noisyor.least import Pieces, SharedParts, certain
from diagnose.noisyor.network import ABSENT, Floats, Ints, Network
from diagnose.noisyor.repeats import Folded, folded
from diagnose.noisyor.site import Family
from diagnose.record import record

NEGLIGIBLE = 1e-9
"""All joint states left out together certainly carry less than this share of the evidence."""


OVERHEAD, PER_ENTRY = 200_000, 30
"""What an inference takes before anything is swept, and for each of a network's entries."""


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
        """Only some of these states.

        >>> common = Survival.of(np.log([[1.0], [0.2]]))
        >>> less = Block(np.array([4, 9]), np.array([-2.0, -3.0]), common).at(np.array([1]))
        >>> less.rows.tolist(), less.log_weight.tolist(), less.common.u.round(6).tolist()
        ([9], [-3.0], [[0.2]])
        """
        left = {key: table[:, states] for key, table in self._left.items()}
        return Block(self.rows[states], self.log_weight[states], self.common.at(states), left)

    def left(self, group: Group) -> Floats:
        """(N, T) what leaks and these common states leave to a group: see `left_by_common`.

        >>> from diagnose.noisyor.factor import Column
        >>> block = Block(np.array([4, 9]), np.zeros(2), Survival.of(np.log([[1.0], [0.5]])))
        >>> once = Group((Column(0, 0, leak=0.2),), (1,), (), (0,), ((0, 0),))
        >>> block.left(once).round(6).tolist()
        [[0.2, 0.6], [0.8, 0.4]]
        """
        key = group.outsides
        if key not in self._left:
            self._left[key] = left_by_common(group, self.common)
        return self._left[key]


@record
class Plan:
    """Everything about a network that does not change while it is swept.

    ``apart`` is the log weight of what no live finding depends on, and of the absent findings;
    ``standing`` says which variables have the posterior of another one (see `repeats.Folded`).
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
    standing: Mapping[int, int]

    def block(self, rows: Ints) -> Block:
        """These common states.

        >>> from diagnose.noisyor import Finding, Variable
        >>> rows = [Finding(row, {"main": (1, 0.5)}, present=True) for row in "ab"]
        >>> plan = make_plan(Network.of([Variable("main", (0.75, 0.25))], rows))
        >>> bad = plan.block(np.array([1]))  # the heaviest state weighs 1
        >>> np.exp(bad.log_weight).round(4).tolist(), bad.common.u.round(4).tolist()
        ([0.3333], [[0.5]])
        """
        with np.errstate(divide="ignore"):
            log_weight = np.log(self.common.weight[rows])
        return Block(rows, log_weight, Survival.of(self.common.log_survival[rows]))


def make_plan(
    network: Network, negligible: float = NEGLIGIBLE, least: float = -np.inf, kept: int = -1
) -> Plan | None:
    """Sort a network's variables and findings; None when the absent findings are impossible.

    ``negligible`` is the share of the evidence that all joint states left out may carry,
    ``least`` a lower bound of the log evidence, if one is known. The finding ``kept`` keeps all
    its variables apart.

    >>> from diagnose.noisyor import Finding, Variable
    >>> three = [Variable(name, (0.75, 0.25)) for name in ("main", "a", "b")]
    >>> rows = [Finding(own, {"main": (1, 0), own: (1, 0)}, present=True) for own in "ab"]
    >>> plan = make_plan(Network.of(three, rows))  # main is common, the others private
    >>> plan.common.weight.round(4).tolist(), plan.families[0].variable.tolist()
    ([1.0, 0.3333], [[1], [2]])
    """
    count(OVERHEAD + PER_ENTRY * len(network.state))
    weighed = _weigh(network)
    if weighed is None:
        return None
    weight, constant = weighed
    fewer = folded(network, weight, kept)
    return _Planner(fewer, weight).plan(constant, negligible, least)


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
    """Makes a plan of live findings and their layout. Only `plan` is called from outside."""

    def __init__(self, folded: Folded, weight: Floats) -> None:
        self.network, self.standing, self.weight = folded.network, folded.standing, weight
        self.live = Live(self.network, weight, folded.exchangeable)
        self.layout = self.live.layout()

    def plan(self, constant: float, negligible: float, least: float) -> Plan:
        free = np.flatnonzero(self.live.role == 0)
        apart = constant + float(np.log(self._totals()[free]).sum())
        pieces = self._pieces()
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
            common=bundles.of(pieces.common, pieces.columns[0], self.layout.repeats),
            columns=pieces.columns,
            negligible=negligible,
            standing=self.standing,
        )

    def _totals(self) -> Floats:
        """(variables) total weight of each."""
        totals: Floats = np.add.reduceat(self.weight, self.network.offsets[:-1])
        return totals

    def _pieces(self) -> Pieces:
        """The families, groups and parts of bundles."""
        shapes, (common, shared) = self.layout.shapes, self.layout.representatives
        families, places = self._families(shapes)
        polynomials = [family.polynomial for family in families]
        return Pieces(
            families=families,
            groups=tuple(
                _group(shapes[sites[0]], sites, places, polynomials) for sites in self.layout.sites
            ),
            common=self._parts(np.flatnonzero(self.live.role == -1).tolist(), common),
            shared=[self._shared_parts(*each) for each in self.layout.serving.items()],
            columns=(len(common), len(shared)),
        )

    def _families(
        self, shapes: Sequence[Shape]
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
        live, names = self.live, len(self.network.names)
        row = np.full(len(live.findings), -1)
        column = np.full(len(live.findings), -1)
        row[findings] = np.arange(len(findings))[:, None]
        column[findings] = np.arange(findings.shape[1])
        use = (live.role[live.variable] == 1) & (row[live.finding] >= 0)
        state, variable = live.state[use], live.variable[use]
        r, c = row[live.finding[use]], column[live.finding[use]]
        owner, which = np.divmod(sorted_distinct(r * names + variable), names)
        place = np.arange(len(owner)) - np.searchsorted(owner, owner)
        variables = np.full((len(findings), int(place.max(initial=0)) + 1), -1, dtype=np.intp)
        variables[owner, place] = which
        within = np.zeros(names, dtype=np.intp)
        within[which] = place
        weight = self._padded_weight(variables)
        logs = np.zeros((*weight.shape, findings.shape[1]))
        logs[r, within[variable], state - self.network.offsets[variable], c] = live.log[use]
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

    def _shared_parts(self, served: frozenset[int], variables: Sequence[int]) -> SharedParts:
        """Shared variables that serve the same groups, with the columns those groups use."""
        numbers = sorted(set().union(*(self.layout.columns[v] for v in variables)))
        chosen = [self.layout.representatives[1][number] for number in numbers]
        columns = {number: k for k, number in enumerate(numbers)}
        return self._parts(variables, chosen), columns, served

    def _parts(self, variables: Iterable[int], findings: Sequence[int]) -> list[Part]:
        """The variables as parts of a bundle whose columns are some live findings."""
        column = np.full(len(self.live.findings), -1)
        column[findings] = np.arange(len(findings))
        return [self._part(v, column, len(findings)) for v in variables]

    def _part(self, v: int, column: Ints, columns: int) -> Part:
        live, (start, stop) = self.live, self.network.offsets[v : v + 2].tolist()
        entries = live.entries(v)
        own = column[live.finding[entries]]
        entries, own = entries[own >= 0], own[own >= 0]
        table = np.zeros((stop - start, columns))
        table[live.state[entries] - start, own] = live.log[entries]
        return Part(v, self.weight[start:stop], table)


def _group(
    shape: Shape,
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
