"""What open findings may turn out to be, and whom that would blame for a present one.

The *blame* for a present finding is a complete partition: no parent is in a state that can
bring it about (the leak did), exactly one parent is (one blame for each such state), or
several are. Given one blame, all parents are known, so each blame is a small *world* of its
own; the probability of an event together with each blame is read off the calibrated sweeps
of these worlds, and without inferring again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from diagnose.noisyor.arrays import distinct, sorted_distinct
from diagnose.noisyor.budget import count, table
from diagnose.noisyor.bundle import Bundle, heavy
from diagnose.noisyor.calibrated import UNSEEN, Calibrated, Event
from diagnose.noisyor.course import Course
from diagnose.noisyor.factor import FLOPS
from diagnose.noisyor.network import ABSENT, OPEN, Floats, Ints, Network
from diagnose.noisyor.plan import Plan
from diagnose.noisyor.posterior import Posterior
from diagnose.noisyor.solver import Solved, Solver
from diagnose.noisyor.sweep import Special, Step, World, of_twin
from diagnose.record import record

Allowed = Mapping[int, NDArray[np.bool_]]
"""For some variables (by number) which of their states are allowed."""


@record
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
    known: the posterior of the network, if there is one already. States that together have
        less than `UNSEEN` of it are left out.

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

    def __init__(self, network: Network, target: str, known: Posterior | None = None) -> None:
        least = -np.inf
        if known is not None:
            kept = np.zeros(network.states, dtype=bool)
            kept[heavy(known.flat, UNSEEN)] = True
            network = replace(network, prior=np.where(kept, network.prior, 0.0))
            least = known.log_evidence + np.log1p(-UNSEEN)
        self.finding = network.finding_names.index(target)
        solver = Solver.of(network, ENOUGH, least, self.finding)
        if solver is None:
            raise ValueError(f"expected possible evidence to find blame for {target!r}")
        whole = solver.explored(solver.rows, UNSEEN)
        self.network, self.plan, self._polynomials = network, solver.plan, solver.polynomials
        self.log_evidence = float(np.logaddexp.reduce(whole.log_common))
        if self.log_evidence == -np.inf:
            raise ValueError(f"expected possible evidence to find blame for {target!r}")
        self.place = Places(self.plan)
        self.blames, self._allowed = self._partition()
        self._steps, log_apart = self._apart(solver.twins, whole)
        place, self._owner, log_weight = self._rows(whole)
        rows, log_weight = whole.world.block.rows[place], log_weight + log_apart[place]
        del whole
        self._calibrated = self._calibrate(rows, log_weight)

    @cached_property
    def blame(self) -> Floats:
        """(blames + 1) posterior of each blame, the last for "several".

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> two = [Variable("valve", (0.9, 0.1)), Variable("plug", (0.9, 0.1))]
        >>> check = Finding("check", {"valve": (1, 0), "plug": (1, 0)}, present=True)
        >>> Outlook(Network.of(two, [check]), "check").blame.round(4).tolist()  # 0, 9, 9, 1 of 19
        [0.0, 0.4737, 0.4737, 0.0526]
        """
        return self.joint({})

    def joint(self, event: Mapping[str, bool], survival: float = 1.0) -> Floats:
        """(blames + 1) probability of the event together with each blame: see `joints`.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> check = Finding("check", {"valve": (1, 0)}, 0.5, present=True)
        >>> meter = Finding("meter", {"valve": (1, 0.4)}, present=None)
        >>> network = Network.of([Variable("valve", (0.75, 0.25))], [check, meter])
        >>> outlook = Outlook(network, "check")
        >>> outlook.joint({"meter": False}, survival=0.5).round(6).tolist()  # 0.6 and 0.4, halved
        [0.3, 0.08, 0.0]
        """
        joint: Floats = self.joints([(event, survival)])[0]
        return joint

    def joints(self, events: Sequence[tuple[Mapping[str, bool], float]]) -> Floats:
        """(V, blames + 1) probability of each event together with each blame.

        Parameters
        ----------
        events: open findings by name and whether they turn out present, the same ones in every
            event; and a further factor that each of them must survive to be absent, the
            circumstances of the new run.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> check = Finding("check", {"valve": (1, 0)}, 0.5, present=True)
        >>> meter = Finding("meter", {"valve": (1, 0.4)}, present=None)
        >>> network = Network.of([Variable("valve", (0.75, 0.25))], [check, meter])
        >>> outlook = Outlook(network, "check")
        >>> outlook.joints([({"meter": False}, 1.0), ({"meter": True}, 1.0)]).round(6).tolist()
        [[0.6, 0.16, 0.0], [0.0, 0.24, 0.0]]
        """
        asked = [Event(self.place.touched(event), survival) for event, survival in events]
        weight = self._calibrated.events(asked)
        count(weight.size * self._membership.shape[1] / FLOPS)
        split = weight @ self._membership
        split[:, -1] = np.maximum(split[:, -1] - split[:, :-1].sum(axis=1), 0.0)
        return split

    @cached_property
    def _membership(self) -> Floats:
        """(rows, blames + 1) 1 where a swept common state belongs to a blame."""
        table(len(self._calibrated.seen) * (len(self.blames) + 1))
        return np.eye(len(self.blames) + 1)[self._owner[self._calibrated.seen]]

    def _partition(self) -> tuple[list[Blame], list[Allowed]]:
        """The blames, and the states that each allows to the target's parents."""
        network, f = self.network, self.finding
        entries = slice(network.start[f], network.start[f + 1])
        states, logs = network.state[entries], network.log_survival[entries]
        active = np.zeros(network.states, dtype=bool)
        active[states[logs < 0]] = True
        active &= self.plan.weight > 0
        parents = sorted_distinct(network.variable_of[np.flatnonzero(active)])
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

    def _apart(
        self, twins: Sequence[Sequence[Course]], whole: Solved
    ) -> tuple[list[list[Step]], Floats]:
        """The steps of parts that blames and events bear on; (T) log probability of the rest."""
        groups, target = self.plan.groups, self.place.site_of(self.finding)
        own = self.place.group[target][0]
        steps, log_apart = [], np.zeros(len(whole.world.block.rows))
        for alike, part, log_part in zip(twins, whole.parts, whole.log_parts, strict=True):
            for course in alike:
                met = [stop.group for stop in course]
                if own in met or any(groups[g].queries for g in met):
                    steps.append(of_twin(part.sweep.steps, course))
                else:
                    log_apart += log_part
        return steps, log_apart

    def _rows(self, whole: Solved) -> tuple[Ints, Ints, Floats]:
        """Common states to sweep: those of each blame, then all, as far as they can be seen.

        A blame has at most the part of a common state's posterior that its weight there is of
        the whole. Their places among the swept ones, the blame that each belongs to (the last
        number stands for all) and log weights.
        """
        every, common = whole.world.block.rows, self.plan.common
        share = np.exp(whole.log_common - self.log_evidence)
        table(len(self._allowed) * len(every), 4.0)
        weights = self._weights_under(common)[every].T
        most = weights / common.weight[every] * share
        owner, place = np.divmod(heavy(most.ravel(), UNSEEN), len(every))
        return place, owner, np.log(weights[owner, place])

    def _calibrate(self, rows: Ints, log_weight: Floats) -> Calibrated:
        """The worlds of all blames, swept."""
        solved = self._solved(rows, log_weight)
        return Calibrated(self.plan, solved, np.exp(solved.log_common - self.log_evidence))

    def _solved(self, rows: Ints, log_weight: Floats) -> Solved:
        """The world of some rows, swept as all of them were."""
        plan, owner = self.plan, self._owner
        site = self.place.site_of(self.finding)
        number, row = self.place.member[site]
        family, weight = plan.families[number], self._site_weight(site)
        special = Special(
            *self.place.group[site], owner, lambda queries: family.absent(row, queries, weight)
        )
        bundles = [self._bundle_weight(one.bundle) for one in plan.shared]
        block = replace(plan.block(rows), log_weight=log_weight)
        world = World(block, bundles, self._polynomials, special)
        return Solved.along(plan, world, self._steps)

    def _bundle_weight(self, bundle: Bundle) -> Floats:
        """(states) weights of a bundle, or (states, rows) when the blame bears on them."""
        members = {stage.part.variable for stage in bundle.stages}
        if not members & set(self._allowed[0]):
            return bundle.weight
        return self._weights_under(bundle)[:, self._owner]

    def _weights_under(self, bundle: Bundle) -> Floats:
        """(states, blames + 1) weights of a bundle under each blame, and under all together."""
        members = {stage.part.variable for stage in bundle.stages}
        readings: dict[bytes, Allowed] = {}
        which = []
        for allowed in (*self._allowed, {}):
            mine = {v: states for v, states in allowed.items() if v in members}
            which.append(key := b"".join(states.tobytes() for states in mine.values()))
            readings[key] = mine
        place = {key: number for number, key in enumerate(readings)}
        return bundle.weights_under(list(readings.values()))[:, [place[key] for key in which]]

    def _site_weight(self, site: int) -> Floats:
        """(blames + 1, V, S) weights of a site's private states that each blame allows."""
        number, row = self.place.member[site]
        family = self.plan.families[number]
        return np.stack(
            [
                self._masked(family.weight[row], family.variable[row], allowed)
                for allowed in (*self._allowed, {})
            ]
        )

    @staticmethod
    def _masked(weight: Floats, variable: Ints, allowed: Allowed) -> Floats:
        masked = weight.copy()
        for place, v in enumerate(variable.tolist()):
            if v in allowed:
                masked[place, : len(allowed[v])] *= allowed[v]
        return masked


GOOD_TO = 1e-4
"""What the probabilities that an outlook gives are good to."""

ENOUGH = 1e-6
"""Share of the evidence that may be left out where only a choice of tests depends on it."""


class Places:
    """Where the sites and open findings of a plan are."""

    def __init__(self, plan: Plan) -> None:
        network = plan.network
        live = np.flatnonzero(network.outcome != ABSENT)
        _, site = distinct(network.site[live])
        self.plan = plan
        self._site: dict[int, int] = dict(zip(live.tolist(), site.tolist(), strict=True))
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
        """The site of a live finding.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> from diagnose.noisyor.plan import make_plan
        >>> outcomes = {"fever": False, "cough": True, "ache": None}
        >>> told = [Finding(name, {"flu": (1, 0)}, 0.5, seen) for name, seen in outcomes.items()]
        >>> places = Places(make_plan(Network.of([Variable("flu", (0.9, 0.1))], told)))
        >>> places.site_of(1), places.site_of(2)
        (0, 1)
        """
        return self._site[finding]

    def touched(self, event: Mapping[str, bool]) -> dict[int, list[tuple[int, int, bool]]]:
        """Per group the (row, query, present) of an event.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> from diagnose.noisyor.plan import make_plan
        >>> asked = [Finding(name, {"valve": (1, 0)}, site=1) for name in ("check", "meter")]
        >>> places = Places(make_plan(Network.of([Variable("valve", (0.9, 0.1))], asked)))
        >>> places.touched({"meter": True, "check": False})
        {0: [(0, 1, True), (0, 0, False)]}
        """
        groups: dict[int, list[tuple[int, int, bool]]] = {}
        for name, present in event.items():
            site, query = self._query[name]
            g, r = self.group[site]
            groups.setdefault(g, []).append((r, query, present))
        return groups
