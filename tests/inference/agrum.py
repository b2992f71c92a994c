"""The same flat network in pyAgrum, a general library for Bayesian networks.

Absent findings multiply the priors of their parents, state by state, which is exact. A present
finding is a chain of yes-or-no nodes, "brought about by now", with evidence on the last.
Variables in no present finding stay out of the network: their answer is at hand.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from diagnose.arrays import Floats
from diagnose.inference.network import ABSENT, PRESENT, Network

LARGEST = 3e7
"""A joint table with more numbers than this is not tried."""


class TooLarge(RuntimeError):
    """The junction tree needs a table that does not fit."""


@dataclass(frozen=True)
class Encoding:
    """How to write a network: shared causes last or first in a chain, and which to fold.

    Causes folded together are one variable whose states are merged where no failure tells them
    apart. ``fold`` is "none"; "alike" for causes of exactly the same failures; "all" for causes
    of the same failed rows, or of the same runs of them; or "shared", which is "all" without the
    causes of a single row.
    """

    fold: str = "all"
    last: bool = True

    def __str__(self) -> str:
        return f"fold {self.fold}, shared {'last' if self.last else 'first'}"


ENCODINGS = tuple(
    Encoding(fold, last) for fold in ("none", "alike", "shared", "all") for last in (True, False)
)


@dataclass(frozen=True)
class Folded:
    """One node for several variables: its weights, and its share of each member's states."""

    weight: Floats
    survival: Mapping[int, Floats]
    members: Mapping[int, Floats]


@dataclass
class Reader:
    """The priors after all passes, and for each failure the survivals of its parents."""

    network: Network
    log_spare: float
    weight: Floats = field(init=False)
    constant: float = field(init=False)
    failures: list[dict[int, Floats]] = field(init=False)

    def __post_init__(self) -> None:
        network = self.network
        absent = network.outcome == ABSENT
        entries = absent[network.finding_of]
        logs = np.bincount(network.state[entries], network.log_survival[entries], network.states)
        self.weight = network.prior * np.exp(logs)
        totals = np.add.reduceat(self.weight, network.offsets[:-1])
        self.weight = self.weight / np.repeat(totals, np.diff(network.offsets))
        self.constant = float(np.log1p(-network.leak[absent]).sum() + np.log(totals).sum())
        self.spare = float(np.exp(self.log_spare - self.constant))
        self.present = np.flatnonzero(network.outcome == PRESENT).tolist()
        self.failures = [dict(self._parents(f)) for f in self.present]

    def _parents(self, f: int) -> Iterator[tuple[int, Floats]]:
        network = self.network
        entries = slice(network.start[f], network.start[f + 1])
        survival = np.ones(network.states)
        survival[network.state[entries]] = np.exp(network.log_survival[entries])
        for v in dict.fromkeys(network.variable_of[network.state[entries]].tolist()):
            own = survival[network.offsets[v] : network.offsets[v + 1]]
            if (own < 1).any():
                yield v, own

    def prior(self, v: int) -> Floats:
        """Prior of a variable's states after the passes."""
        return self.weight[self.network.offsets[v] : self.network.offsets[v + 1]]

    def groups(self, fold: str) -> list[list[int]]:
        """Variables to fold together, where there are several."""
        reached: dict[int, list[int]] = {}
        for f, failure in enumerate(self.failures):
            for v in failure:
                reached.setdefault(v, []).append(f)
        alike: dict[frozenset[int], list[int]] = {}
        for v, failures in reached.items():
            sites = [int(self.network.site[self.present[f]]) for f in failures]
            run_only = len(set(sites)) > 1 and len(set(sites)) == len(sites)
            if fold == "alike":
                alike.setdefault(frozenset(failures), []).append(v)
            elif fold == "all" or (fold == "shared" and len(set(sites)) > 1):
                key = frozenset(failures) if run_only else frozenset(sites)
                alike.setdefault(key, []).append(v)
        return [group for group in alike.values() if len(group) > 1]

    def fold(self, group: list[int]) -> Folded:
        """Some variables as one."""
        number: dict[tuple[Any, ...], int] = {}
        column = {}
        for f, failure in enumerate(self.failures):
            own = [(v, failure[v].tobytes()) for v in group if v in failure]
            if own:
                column[f] = number.setdefault(tuple(own), f)
        kinds = sorted(set(column.values()))
        weight, logs = np.ones(1), np.ones((1, len(kinds)))
        key = np.random.default_rng(0).integers(1, 2**40, len(kinds))
        members: dict[int, Floats] = {}
        for v in group:
            prior = self.prior(v)
            lets = np.stack([self.failures[f].get(v, np.ones(len(prior))) for f in kinds], axis=1)
            joint = (weight[:, None] * prior).ravel()
            product = (logs[:, None, :] * lets).reshape(len(joint), -1)
            whole = np.rint(product * 2.0**44).astype(np.int64)
            hashed = (whole * key).sum(axis=1)
            _, first, into = np.unique(hashed, return_index=True, return_inverse=True)
            if not (whole == whole[first[into]]).all():
                raise ArithmeticError("expected equal hashes only for equal survivals")
            merged = np.bincount(into, joint)
            light = np.argsort(merged)
            kept = np.ones(len(merged), dtype=bool)
            kept[light[np.cumsum(merged[light]) <= self.spare / 100]] = False
            old, new = np.divmod(np.flatnonzero(kept[into]), len(prior))
            joint, into = joint[kept[into]], (np.cumsum(kept) - 1)[into][kept[into]]
            first, merged = first[kept], merged[kept]
            share = joint / np.maximum(merged[into], 1e-300)
            for member, states in members.items():
                members[member] = _pooled(into, share[:, None] * states[old], len(merged))
            members[v] = _pooled(into, share[:, None] * np.eye(len(prior))[new], len(merged))
            weight, logs = merged, product[first]
        survival = {f: logs[:, kinds.index(kind)] for f, kind in column.items()}
        return Folded(weight, survival, members)


def _pooled(into: Any, rows: Floats, size: int) -> Floats:
    return np.stack([np.bincount(into, column, size) for column in rows.T], axis=1)


def _pyagrum() -> Any:
    """The library; its compiled half warns about itself on import."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pyagrum
    return pyagrum


class Agrum:
    """One network in one encoding; ``answer`` runs an engine over it.

    Folded states may be left out while their log prior weight stays below ``log_spare``. That is
    sound wherever the evidence found is far heavier, which whoever compares evidence has seen.
    """

    def __init__(self, network: Network, encoding: Encoding, log_spare: float = -np.inf) -> None:
        pyagrum = _pyagrum()
        self.gum = pyagrum
        self.network, self.reader = network, Reader(network, log_spare)
        self.net = pyagrum.BayesNet()
        self.ids: dict[int, int] = {}
        self.folded = [self.reader.fold(group) for group in self.reader.groups(encoding.fold)]
        self.evidence: dict[int, int] = {}
        for number, folded in enumerate(self.folded, 1):
            self.ids[-number] = self._root(f"folded{number}", folded.weight)
        failures = [self._parents(f, own) for f, own in enumerate(self.reader.failures)]
        uses: dict[int, int] = {}
        for failure in failures:
            for v in failure:
                uses[v] = uses.get(v, 0) + 1
        for f, failure in enumerate(failures):
            order = sorted(failure, key=lambda v: uses[v], reverse=not encoding.last)
            self._chain(f, [(v, failure[v]) for v in order])

    def _parents(self, f: int, failure: Mapping[int, Floats]) -> dict[int, Floats]:
        inside = {v for folded in self.folded for v in folded.members}
        kept = {v: own for v, own in failure.items() if v not in inside}
        for number, folded in enumerate(self.folded, 1):
            if f in folded.survival:
                kept[-number] = folded.survival[f]
        return kept

    def _root(self, name: str, weight: Floats) -> int:
        node = int(self.net.add(self.gum.RangeVariable(name, name, 0, len(weight) - 1)))
        self.net.cpt(node).fillWith(weight.tolist())
        return node

    def _chain(self, f: int, parents: list[tuple[int, Floats]]) -> None:
        leak = self.network.leak[self.reader.present[f]]
        before: int | None = None
        for place, (v, own) in enumerate(parents):
            if v not in self.ids:
                self.ids[v] = self._root(f"v{v}", self.reader.prior(v))
            node = int(self.net.add(self.gum.RangeVariable(f"f{f}_{place}", "", 0, 1)))
            absent = own * (1 - leak) if before is None else own
            self.net.addArc(self.ids[v], node)
            table = np.stack([absent, 1 - absent], axis=-1)
            if before is not None:
                self.net.addArc(before, node)
                table = np.stack([table, np.tile([0.0, 1.0], (len(own), 1))])
            self.net.cpt(node).fillWith(table.ravel().tolist())
            before = node
        if before is None:
            raise ValueError("expected every failure to have a parent")
        self.evidence[before] = 1

    def answer(self, engine: str) -> tuple[float, Floats]:
        """Log evidence and all marginals; raises `TooLarge`."""
        weight = self.reader.weight.copy()
        if not self.evidence:
            return self.reader.constant, weight
        self._check_size()
        solver: Any = getattr(self.gum, engine)(self.net)
        solver.setEvidence(self.evidence)
        solver.setTargets(set(self.ids.values()))
        solver.makeInference()
        for v, node in self.ids.items():
            self._put(weight, v, solver.posterior(node).toarray())
        log = np.nan
        if hasattr(solver, "evidenceProbability"):
            log = self.reader.constant + float(np.log(solver.evidenceProbability()))
        return log, weight

    def _put(self, weight: Floats, v: int, states: Floats) -> None:
        offsets = self.network.offsets
        if v >= 0:
            weight[offsets[v] : offsets[v + 1]] = states
        else:
            for member, share in self.folded[-v - 1].members.items():
                weight[offsets[member] : offsets[member + 1]] = states @ share

    def _check_size(self) -> None:
        if self.largest() > LARGEST:
            raise TooLarge(f"a table of {self.largest():.1e} numbers")

    def largest(self) -> float:
        """Numbers in the largest table of the junction tree."""
        if not self.evidence:
            return 1.0
        solver = self.gum.LazyPropagation(self.net)
        solver.setEvidence(self.evidence)
        tree = solver.junctionTree()
        return max(
            float(np.prod([float(self.net.variable(n).domainSize()) for n in tree.clique(clique)]))
            for clique in tree.nodes()
        )


def smallest(network: Network, log_spare: float) -> Agrum:
    """The network in the encoding that needs the smallest tables."""
    return min((Agrum(network, one, log_spare) for one in ENCODINGS[1::2]), key=Agrum.largest)
