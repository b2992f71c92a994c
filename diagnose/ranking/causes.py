"""Causes with their probabilities, one by one and by group."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diagnose.cases.case import Run
from diagnose.errors import ImpossibleEvidence
from diagnose.knowledge.parts import Remedy
from diagnose.noisyor.network import PRESENT, Floats, Network
from diagnose.noisyor.posterior import Posterior, conflict, log_evidence, posterior
from diagnose.ranking.evidence import Evidence

GROUPS = ("circumstances", "air", "supply", "section", "wiring", "row")


@dataclass(frozen=True)
class Cause:
    """One mode of one part, or one circumstance of one run, and how likely it is.

    ``probability`` is given everything known, ``prior`` before the results; of a circumstance
    that is known to have been bad, ``probability`` is the chance that it made a row fail.
    ``states`` are the flat states of the network that stand for it.
    """

    id: str
    part: str
    mode: str
    says: str
    rows: tuple[int, ...]
    group: str
    probability: float
    prior: float
    remedy: Remedy | None = None
    states: tuple[int, ...] = ()

    def given(self, flat: Floats) -> float:
        """The probability under other beliefs about the same variables.

        A circumstance that is known to be bad has no state to look up and stays as it was.
        """
        return float(flat[list(self.states)].sum()) if self.states else self.probability


@dataclass(frozen=True)
class Ranking:
    """The posterior of some evidence, read as causes.

    Raises `ImpossibleEvidence` on first use when the results cannot stand together.
    """

    evidence: Evidence

    @cached_property
    def posterior(self) -> Posterior:
        """Beliefs about every variable."""
        found = posterior(self.evidence.network)
        if found.log_evidence == -np.inf:
            raise ImpossibleEvidence(conflict(self.evidence.network))
        return found

    @cached_property
    def causes(self) -> tuple[Cause, ...]:
        """All causes, most probable first; equals in the order of the machine."""
        every = [*self._parts(), *self._circumstances()]
        return tuple(sorted(every, key=lambda cause: -cause.probability))

    @cached_property
    def groups(self) -> Mapping[str, float]:
        """Per group the probability that at least one of its causes is there."""
        return {group: self._at_least_one(group) for group in GROUPS}

    def _parts(self) -> Iterator[Cause]:
        machine = self.evidence.model.machine
        flat, prior = self.posterior.flat, self.evidence.prior
        offsets = self.evidence.model.offsets
        for v, (part, kind) in enumerate(machine.parts.items()):
            for state, mode in enumerate(kind.modes, start=int(offsets[v]) + 1):
                yield Cause(
                    id=f"{part}:{mode.id}",
                    part=part,
                    mode=mode.id,
                    says=f"{_place(part)}{kind.name}: {mode.name}",
                    rows=machine.rows_of(part),
                    group=kind.group,
                    probability=float(flat[state]),
                    prior=float(prior[state]),
                    remedy=kind.remedy(mode.remedy),
                    states=(state,),
                )

    def _circumstances(self) -> Iterator[Cause]:
        for run in self.evidence.case.runs:
            yield from self._unstated(run)
            for circumstance, state in self.evidence.known_bad(run).items():
                name = self.evidence.model.knowledge.circumstances[circumstance].name
                yield _circumstance(
                    run, circumstance, f"{name}: {state.name}", self._struck(run, circumstance), 1.0
                )

    def _unstated(self, run: Run) -> Iterator[Cause]:
        first = int(self.evidence.offsets[len(self.evidence.model.machine.parts) + run.index - 1])
        flat, prior = self.posterior.flat, self.evidence.prior
        states = self.evidence.unknown[run.index]
        for circumstance in dict.fromkeys(kind for kind, _, _ in states):
            chosen = [s for s, (kind, _, _) in enumerate(states) if kind == circumstance]
            names = " or ".join(states[s][1].name for s in chosen)
            flat_states = [first + 1 + s for s in chosen]
            name = self.evidence.model.knowledge.circumstances[circumstance].name
            yield _circumstance(
                run,
                circumstance,
                f"{name}: {names}",
                float(flat[flat_states].sum()),
                float(prior[flat_states].sum()),
                tuple(flat_states),
            )

    def _struck(self, run: Run, circumstance: str) -> float:
        """The chance that a circumstance known to be bad made at least one row fail."""
        network, log_missed = self._missed({(run.index, circumstance)})
        return self._lost(network, log_missed)

    def _missed(self, spared: set[tuple[int, str]]) -> tuple[Network, float]:
        """The network in which some known circumstances (run, kind) made no failed row fail.

        Also the log of the chance that they missed all those rows.
        """
        evidence = self.evidence
        leaks, log_missed = [], 0.0
        for seen in evidence.observed:
            leaks.append(seen.leak)
            if seen.run and seen.outcome == PRESENT:
                run = evidence.case.runs[seen.run - 1]
                for kind, state in evidence.known_bad(run).items():
                    if (run.index, kind) in spared:
                        missed = 1 - state.shows[run.check]
                        leaks[-1] = 1 - (1 - leaks[-1]) / missed if missed else seen.leak
                        log_missed += float(np.log(missed)) if missed else -np.inf
        return evidence.network_of(evidence.observed, leaks), log_missed

    def _at_least_one(self, group: str) -> float:
        evidence = self.evidence
        if group == "circumstances":
            runs = evidence.case.runs
            network, log_missed = self._missed(
                {(run.index, kind) for run in runs for kind in evidence.known_bad(run)}
            )
            sound = {f"run-{run.index}": [0] for run in runs}
            return self._lost(network.restricted(sound), log_missed)
        parts = evidence.model.machine.parts
        healthy = {part: [0] for part, kind in parts.items() if kind.group == group}
        return self._lost(evidence.network.restricted(healthy))

    def _lost(self, network: Network, log_factor: float = 0.0) -> float:
        """The share of the evidence that a narrower network, times a factor, lacks."""
        narrow = log_evidence(network) + log_factor
        return float(np.clip(-np.expm1(narrow - self.posterior.log_evidence), 0.0, 1.0))


def _circumstance(
    run: Run,
    kind: str,
    says: str,
    probability: float,
    prior: float,
    states: tuple[int, ...] = (),
) -> Cause:
    return Cause(
        id=f"circumstances/{kind}@{run.index}",
        part=f"run-{run.index}",
        mode=kind,
        says=f"run {run.index}, {says}",
        rows=tuple(row for row, result in enumerate(run.results, start=1) if result.value in "PF"),
        group="circumstances",
        probability=probability,
        prior=prior,
        states=states,
    )


def _place(part: str) -> str:
    """The place of a part in words, empty for what the whole machine shares.

    >>> _place("row-6/valve"), _place("section-2/manifold"), _place("supply/coupler")
    ('row 6, ', 'section 2, ', '')
    """
    place, _, _ = part.partition("/")
    return "" if place in ("supply", "power", "control") else f"{place.replace('-', ' ')}, "

