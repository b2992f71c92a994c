"""Brute force over every joint state: slow, obvious, and independent of the code under test."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.inference.network import Finding, Network, Variable


@dataclass(frozen=True)
class World:
    """Variables and findings with all their joint states."""

    variables: tuple[Variable, ...]
    findings: tuple[Finding, ...]

    @property
    def network(self) -> Network:
        """The network under test."""
        return Network.of(self.variables, self.findings)

    @property
    def joint(self) -> Ints:
        """(joint states, variables) every combination of states."""
        sizes = [len(variable.prior) for variable in self.variables]
        return np.stack([axis.ravel() for axis in np.indices(sizes)], axis=1)

    def absent(self, finding: Finding) -> Floats:
        """(joint states) chance that a finding is absent."""
        chance = np.full(len(self.joint), 1 - finding.leak)
        for v, variable in enumerate(self.variables):
            factors = finding.survival.get(variable.name)
            if factors is not None:
                chance *= np.array(factors)[self.joint[:, v]]
        return chance

    def weight(self, but: Sequence[str] = ()) -> Floats:
        """(joint states) prior times likelihood of all observed findings but those named."""
        weight = np.ones(len(self.joint))
        for v, variable in enumerate(self.variables):
            weight *= np.array(variable.prior)[self.joint[:, v]]
        for finding in self.findings:
            if finding.present is not None and finding.name not in but:
                absent = self.absent(finding)
                weight *= 1 - absent if finding.present else absent
        return weight

    def marginals(self) -> Floats:
        """All posterior marginals, one after the other."""
        weight = self.weight()
        return np.concatenate(
            [
                np.bincount(self.joint[:, v], weight, len(variable.prior)) / weight.sum()
                for v, variable in enumerate(self.variables)
            ]
        )

    def probability(self, states: Mapping[str, Sequence[int]]) -> float:
        """Posterior probability that each named variable is in one of the states."""
        weight = self.weight()
        names = [variable.name for variable in self.variables]
        inside = np.ones(len(weight), dtype=bool)
        for name, allowed in states.items():
            inside &= np.isin(self.joint[:, names.index(name)], allowed)
        return float(weight[inside].sum() / weight.sum())

    def blamed(
        self, target: str, event: Mapping[str, bool], survival: float
    ) -> dict[object, float]:
        """Posterior of an event together with each blame (cause, None for chance, "several")."""
        finding = next(one for one in self.findings if one.name == target)
        weight = self.weight()
        weight /= weight.sum()
        for one in self.findings:
            if one.name in event:
                absent = self.absent(one) * survival
                weight = weight * (1 - absent if event[one.name] else absent)
        split: dict[object, float] = {}
        for states, share in zip(self.joint.tolist(), weight, strict=True):
            active: list[object] = [
                (variable.name, state)
                for variable, state in zip(self.variables, states, strict=True)
                if finding.survival.get(variable.name, (1.0,) * 9)[state] < 1
            ]
            blame = "several" if len(active) > 1 else active[0] if active else None
            split[blame] = split.get(blame, 0.0) + float(share)
        return split
