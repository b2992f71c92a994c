"""A noisy-OR network as flat arrays, and as the readable pieces it is built from."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from diagnose.arrays import Floats, Ints
from diagnose.record import record

PRESENT, ABSENT, OPEN = 1, 0, -1
"""Outcomes of a finding; an open finding is not yet observed, only asked about."""


@record
class Variable:
    """A cause with exclusive states: its name and the prior of each state (they sum to 1)."""

    name: str
    prior: tuple[float, ...]


@record
class Finding:
    """Something that is present or absent, with the causes that can bring it about.

    Parameters
    ----------
    name: unique.
    survival: for each parent variable, one factor per state: the chance that this state
        does *not* bring the finding about.
    leak: the chance that it is present although no parent brings it about.
    present: True, False, or None for a finding that is only asked about.
    site, occasion: findings of one site share most of their causes, those of one occasion some
        that no other has. Both steer speed, never the answer.
    """

    name: str
    survival: Mapping[str, Sequence[float]]
    leak: float = 0.0
    present: bool | None = None
    site: Hashable = None
    occasion: Hashable = None


@record
class Network:
    """Variables and findings as flat arrays; finding f owns entries ``start[f]:start[f + 1]``.

    Parameters
    ----------
    names: variable names, V of them.
    offsets: (V + 1) variable v owns the flat states ``offsets[v]:offsets[v + 1]``.
    prior: (states) prior of every flat state.
    finding_names: F names.
    start: (F + 1) where each finding's entries begin.
    state: (entries) flat state that an entry speaks of.
    log_survival: (entries) log of the survival factor.
    leak: (F) chance of presence without a cause.
    outcome: (F) PRESENT, ABSENT or OPEN.
    site: (F) number of the finding's site.
    occasion: (F) number of the occasion on which it was made, -1 for none.
    """

    names: tuple[str, ...]
    offsets: Ints
    prior: Floats
    finding_names: tuple[str, ...]
    start: Ints
    state: Ints
    log_survival: Floats
    leak: Floats
    outcome: Ints
    site: Ints
    occasion: Ints
    _index: dict[str, int] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def of(cls, variables: Sequence[Variable], findings: Sequence[Finding]) -> Network:
        """Build a network from variables and findings.

        Raises
        ------
        ValueError
            naming the variable or finding whose numbers are not probabilities, whose
            survival has the wrong length, or whose parent is not known.

        >>> cold = Variable("cold", (0.8, 0.2))
        >>> fever = Finding("fever", {"cold": (1.0, 0.6)}, present=True)
        >>> Network.of([cold], [fever]).names
        ('cold',)
        """
        index = {variable.name: v for v, variable in enumerate(variables)}
        _check(variables, findings, index)
        offsets = np.cumsum([0, *(len(variable.prior) for variable in variables)])
        sites: dict[Hashable, int] = {}
        occasions: dict[Hashable, int] = {None: -1}
        entries = [
            (offsets[index[parent]] + s, factor)
            for finding in findings
            for parent, factors in finding.survival.items()
            for s, factor in enumerate(factors)
        ]
        sizes = [sum(map(len, finding.survival.values())) for finding in findings]
        with np.errstate(divide="ignore"):
            logs = np.log(np.array([factor for _, factor in entries], dtype=float))
        return cls(
            names=tuple(index),
            offsets=offsets,
            prior=np.array([p for variable in variables for p in variable.prior]),
            finding_names=tuple(finding.name for finding in findings),
            start=np.cumsum([0, *sizes]),
            state=np.array([state for state, _ in entries], dtype=np.intp),
            log_survival=logs,
            leak=np.array([finding.leak for finding in findings], dtype=float),
            outcome=np.array([_outcome(finding.present) for finding in findings], dtype=np.intp),
            site=np.array(
                [
                    sites.setdefault(f if finding.site is None else ("site", finding.site), f)
                    for f, finding in enumerate(findings)
                ],
                dtype=np.intp,
            ),
            occasion=np.array(
                [occasions.setdefault(one.occasion, len(occasions)) for one in findings],
                dtype=np.intp,
            ),
        )

    @property
    def states(self) -> int:
        """How many flat states there are.

        >>> two = [Variable("coin", (0.5, 0.5)), Variable("light", (0.5, 0.3, 0.2))]
        >>> Network.of(two, []).states
        5
        """
        return int(self.offsets[-1])

    @cached_property
    def variable_of(self) -> Ints:
        """(states) the variable that owns each flat state.

        >>> two = [Variable("coin", (0.5, 0.5)), Variable("light", (0.5, 0.3, 0.2))]
        >>> Network.of(two, []).variable_of.tolist()
        [0, 0, 1, 1, 1]
        """
        return np.repeat(np.arange(len(self.names)), np.diff(self.offsets))

    @cached_property
    def finding_of(self) -> Ints:
        """(entries) the finding that owns each entry.

        >>> two = [Variable("cold", (0.8, 0.2)), Variable("flu", (0.9, 0.1))]
        >>> fever = Finding("fever", {"cold": (1, 0.6), "flu": (1, 0.2)})
        >>> Network.of(two, [fever, Finding("cough", {"cold": (1, 0.5)})]).finding_of.tolist()
        [0, 0, 0, 0, 1, 1]
        """
        return np.repeat(np.arange(len(self.finding_names)), np.diff(self.start))

    def index(self, name: str) -> int:
        """The number of the variable called ``name``; KeyError when there is none.

        >>> two = [Variable("cold", (0.8, 0.2)), Variable("flu", (0.9, 0.1))]
        >>> Network.of(two, []).index("flu")
        1
        """
        if not self._index:
            self._index.update({known: v for v, known in enumerate(self.names)})
        return self._index[name]

    def restricted(self, allowed: Mapping[str, Sequence[int]]) -> Network:
        """The same network with the prior of every state that is not allowed set to zero.

        The priors are not normalised again, so the evidence of the restricted network is the
        joint probability of the evidence and the restriction.

        >>> coin = Network.of([Variable("coin", (0.5, 0.5))], [])
        >>> coin.restricted({"coin": [1]}).prior.tolist()
        [0.0, 0.5]
        """
        prior = self.prior.copy()
        for name, states in allowed.items():
            v = self.index(name)
            keep = np.zeros(self.offsets[v + 1] - self.offsets[v], dtype=bool)
            keep[list(states)] = True
            prior[self.offsets[v] : self.offsets[v + 1]] *= keep
        return replace(self, prior=prior)

    def without(self, findings: Sequence[int]) -> Network:
        """The same network with these findings (by number) left out.

        >>> two = [Variable("cold", (0.8, 0.2)), Variable("flu", (0.9, 0.1))]
        >>> fever = Finding("fever", {"cold": (1, 0.6), "flu": (1, 0.2)})
        >>> left = Network.of(two, [fever, Finding("cough", {"cold": (1, 0.5)})]).without([0])
        >>> left.finding_names, left.start.tolist(), np.exp(left.log_survival).round(6).tolist()
        (('cough',), [0, 2], [1.0, 0.5])
        """
        keep = np.ones(len(self.finding_names), dtype=bool)
        keep[list(findings)] = False
        return self._subset(keep)

    def observed(self) -> Network:
        """The same network without its open findings.

        >>> fever, cough = Finding("fever", {}, present=False), Finding("cough", {})
        >>> Network.of([], [fever, cough, Finding("ache", {}, 0.5, True)]).observed().finding_names
        ('fever', 'ache')
        """
        return self._subset(self.outcome != OPEN)

    def _subset(self, keep: NDArray[np.bool_]) -> Network:
        if keep.all():
            return self
        entries = keep[self.finding_of]
        return replace(
            self,
            finding_names=tuple(n for n, k in zip(self.finding_names, keep, strict=True) if k),
            start=np.concatenate([[0], np.cumsum(np.diff(self.start)[keep])]),
            state=self.state[entries],
            log_survival=self.log_survival[entries],
            leak=self.leak[keep],
            outcome=self.outcome[keep],
            site=self.site[keep],
            occasion=self.occasion[keep],
        )


def _outcome(present: bool | None) -> int:
    return OPEN if present is None else PRESENT if present else ABSENT


def _check(
    variables: Sequence[Variable], findings: Sequence[Finding], index: Mapping[str, int]
) -> None:
    if len(index) != len(variables):
        raise ValueError(f"expected different variable names, got {[v.name for v in variables]}")
    for variable in variables:
        if min(variable.prior) < 0 or abs(sum(variable.prior) - 1) > 1e-9:
            raise ValueError(
                f"expected the prior of {variable.name!r} to be non-negative and sum to 1, "
                f"got {variable.prior} with sum {sum(variable.prior)}"
            )
    for finding in findings:
        if not 0 <= finding.leak <= 1:
            raise ValueError(f"expected a leak from 0 to 1 in {finding.name!r}: {finding.leak}")
        for parent, factors in finding.survival.items():
            if parent not in index:
                raise ValueError(f"expected a known parent of {finding.name!r}, got {parent!r}")
            if len(factors) != len(variables[index[parent]].prior):
                raise ValueError(
                    f"expected one survival factor per state of {parent!r} in "
                    f"{finding.name!r}, got {len(factors)}"
                )
            if min(factors) < 0 or max(factors) > 1:
                raise ValueError(
                    f"expected survival factors from 0 to 1 for {parent!r} in "
                    f"{finding.name!r}, got {tuple(factors)}"
                )
