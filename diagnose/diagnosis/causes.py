"""Causes with their probabilities, one by one and by group."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from itertools import repeat
from typing import NamedTuple

import numpy as np

from diagnose.arrays import Floats
from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.model import Fault
from diagnose.errors import ImpossibleEvidence
from diagnose.inference import budget
from diagnose.inference.posterior import Posterior, conflict, log_evidence, posterior
from diagnose.inference.solver import NEGLIGIBLE
from diagnose.knowledge.circumstances import Prepare
from diagnose.knowledge.parts import Remedy
from diagnose.machine.graph import Machine
from diagnose.observations.result import Result
from diagnose.record import record
from diagnose.tolerances import CHANCES_ALIKE

CAUSE_GROUPS = ("circumstances", "air", "supply", "section", "wiring", "row")


class Cause(NamedTuple):
    """One mode of one part, or one circumstance of one run, and how likely it is.

    ``probability`` is given everything known, ``prior`` before the results. A circumstance is a
    cause as far as it spoiled its run; ``prepare`` says how to put it right. ``rows`` are those
    that it reaches, before swaps and now. ``states`` are the flat states that stand for the
    cause; ``cured`` is how likely it was there until a remedy, ``cured_states`` the states that
    say so.
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
    prepare: Prepare | None = None
    states: tuple[int, ...] = ()
    cured: float = 0.0
    cured_states: tuple[int, ...] = ()

    def given(self, flat: Sequence[float] | Floats) -> float:
        """The probability under other beliefs about the same variables.

        >>> cause = Cause("oil@1", "run-1", "oil", "", (), "circumstances", 0.5, 0.1, states=(1, 3))
        >>> cause.given([0.5, 0.25, 0.0, 0.125])
        0.375
        """
        return float(sum(flat[state] for state in self.states))


@record
class Ranking:
    """The posterior of some evidence, read as causes.

    ``negligible`` is the share of the evidence that may be left out; no probability is off by
    more where the posterior is exact; else `Posterior.bounds` says what it can be. Raises
    `ImpossibleEvidence` on first use when the results cannot stand together.
    """

    evidence: Evidence
    negligible: float = NEGLIGIBLE

    @cached_property
    def entries(self) -> float:
        """Table entries that the posterior took: the more, the less is left for what follows."""
        _ = self.posterior
        return float(vars(self).get("entries", 0.0))

    @cached_property
    def posterior(self) -> Posterior:
        """Beliefs about every variable.

        Where nothing was checked nothing is learnt: every state keeps its prior.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine = load_machine("mounted-6")
        >>> found = rank(machine, read_typed(machine, []))
        >>> bool(np.allclose(found.posterior.flat, found.evidence.prior, rtol=0, atol=1e-12))
        True
        """
        with budget.within(np.inf) as taken:
            found = posterior(self.evidence.network, self.negligible, bounded=True)
        vars(self)["entries"] = taken.spent
        if found.log_evidence == -np.inf:
            raise ImpossibleEvidence(conflict(self.evidence.network))
        return found

    def bounds(self, cause: Cause) -> tuple[float, float]:
        """The least and the most that a cause's probability can be: all the same where it is exact.

        >>> from diagnose import load_machine, rank, read_typed
        >>> found = rank(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), []))
        >>> found.bounds(found.causes[0]) == (found.causes[0].probability,) * 2
        True
        """
        if self.posterior.exact:
            return cause.probability, cause.probability
        return self.posterior.bounds(cause.probability)

    @cached_property
    def causes(self) -> tuple[Cause, ...]:
        """All causes, most probable first; equals in the order of the machine.

        Of what is one row's own and passes the bleed, a shorted coil is the most common.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine = load_machine("mounted-6")
        >>> told = ["oil=54C", "bleed=PPPPPP", "response=PPFPPP"]
        >>> found = rank(machine, read_typed(machine, told))
        >>> found.causes[0].id, found.causes[0].rows
        ('row-3/valve:coil_shorted', (3,))
        """
        every = [*self._parts(), *self._circumstances()]
        probability = np.round([cause.probability for cause in every], CHANCES_ALIKE)
        return tuple(every[k] for k in np.argsort(-probability, kind="stable").tolist())

    def leading(self, row: int) -> Cause:
        """The likeliest cause that reaches a row.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PFPPPF"] * 2)
        >>> found = rank(load_machine("mounted-6"), told)
        >>> [found.leading(row).rows for row in (2, 6)]
        [(2,), (6,)]
        """
        return next(cause for cause in self.causes if row in cause.rows)

    @cached_property
    def groups(self) -> Mapping[str, float]:
        """Per group the probability that at least one of its causes is there.

        Before any check parts fail independently, so the sound shares multiply.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine = load_machine("mounted-6")
        >>> found = rank(machine, read_typed(machine, []))
        >>> air = [cause.probability for cause in found.causes if cause.group == "air"]
        >>> float(round(found.groups["air"] + np.prod([1 - p for p in air]), 9))
        1.0
        """
        return {group: self._at_least_one(group) for group in CAUSE_GROUPS}

    def _parts(self) -> Sequence[Cause]:
        model, epochs = self.evidence.model, self.evidence.epochs
        states = epochs.modes
        beliefs, priors = self.posterior.flat[states], self.evidence.prior[states]
        *known, remedies = model.fault_columns
        believed = beliefs.tolist(), priors.tolist()
        own = zip(states.tolist(), strict=True)
        causes = list(map(Cause, *known, *believed, remedies, repeat(None), own))
        for number in np.flatnonzero(np.isin(model.modes, list(epochs.touched))).tolist():
            causes[number] = self._worked_on(causes[number], model.faults[number])
        return causes

    def _worked_on(self, cause: Cause, fault: Fault) -> Cause:
        """A cause with what remedies and swaps have made of it."""
        epochs = self.evidence.epochs
        cured = epochs.cured(fault.part, fault.mode)
        place = epochs.place_of(fault.part, fault.mode)
        return cause._replace(
            says=f"{fault.says}{_moved(fault.part, place)}",
            rows=_reached(self.evidence.model.machine, fault.part, place),
            prior=float(self.evidence.prior[[*cause.states, *cured]].sum()),
            cured=float(self.posterior.flat[list(cured)].sum()),
            cured_states=cured,
        )

    def _circumstances(self) -> Iterator[Cause]:
        knowledge = self.evidence.model.knowledge
        for run in self.evidence.case.runs:
            first = int(self.evidence.offsets[self.evidence.variables.index(f"run-{run.index}")])
            states = list(enumerate(self.evidence.spoilers[run.index], start=first + 1))
            for kind in dict.fromkeys(kind for _, (kind, _, _) in states):
                own = [flat for flat, (known, _, _) in states if known == kind]
                names = " or ".join(state.name for _, (known, state, _) in states if known == kind)
                yield Cause(
                    id=f"circumstances/{kind}@{run.index}",
                    part=f"run-{run.index}",
                    mode=kind,
                    says=f"run {run.index}, {knowledge.circumstances[kind].name}: {names}",
                    rows=tuple(sorted({*run.rows_with(Result.PASS), *run.rows_with(Result.FAIL)})),
                    group="circumstances",
                    probability=float(self.posterior.flat[own].sum()),
                    prior=float(self.evidence.prior[own].sum()),
                    prepare=knowledge.circumstances[kind].prepare,
                    states=tuple(own),
                )

    def _at_least_one(self, group: str) -> float:
        """1 less the share of the evidence that is left when the whole group is sound."""
        evidence = self.evidence
        if group == "circumstances":
            sound = {f"run-{run.index}": [0] for run in evidence.case.runs}
        else:
            parts = evidence.model.machine.parts
            sound = {
                part: [0, *evidence.epochs.gone(part)]
                for part, kind in parts.items()
                if kind.group == group
            }
        narrow = log_evidence(evidence.network.restricted(sound))
        return float(np.clip(-np.expm1(narrow - self.posterior.log_evidence), 0.0, 1.0))


def _reached(machine: Machine, part: str, place: str) -> tuple[int, ...]:
    """The rows that depend on a part, or on the place that a swap took its fault to."""
    rows = machine.rows_of(part)
    return rows if part == place else tuple(sorted({*rows, *machine.rows_of(place)}))


def _moved(part: str, place: str) -> str:
    """Where a swap has taken what may be at fault.

    >>> _moved("row-6/valve", "row-5/valve")
    ' (now in row 5)'
    """
    return "" if place == part else f" (now in {place.partition('/')[0].replace('-', ' ')})"
