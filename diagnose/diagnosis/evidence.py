"""Runs, readings and findings of the rules as one noisy-OR network.

Every run has one variable for its circumstances: sound, or spoiled by one bad state of one of
them. What nobody stated keeps its prior; what is known to have been good is ruled out; what is
known to have been bad spoils the run with the chance `KNOWN_BAD_SPOILS`: it can pass in cold oil.
History multiplies priors (`diagnosis/priors.py`), readings are findings of their own. Nothing is
counted twice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property

import numpy as np

from diagnose.arrays import Floats
from diagnose.diagnosis.epochs import Epochs, Told
from diagnose.diagnosis.model import Entries, Model
from diagnose.diagnosis.opened import unbled
from diagnose.diagnosis.priors import known_prior
from diagnose.diagnosis.validated_findings import check_findings
from diagnose.inference.network import ABSENT, OPEN, PRESENT, Network
from diagnose.knowledge.circumstances import CircumstanceState
from diagnose.knowledge.parts import Measurement
from diagnose.observations.case import Case
from diagnose.observations.events import Remedied, Run
from diagnose.observations.result import Result
from diagnose.observations.rows import failed_rows, standing_failures
from diagnose.record import record
from diagnose.rules.finding import Fact, RuleFinding
from diagnose.tolerances import KNOWN_BAD_SPOILS


@record
class Observation:
    """One observed or asked-about outcome: its name and what it says of which row or part."""

    name: str
    outcome: int
    leak: float
    site: str
    entries: Entries
    run: int = 0
    row: int = 0


@record
class Evidence:
    """Everything known about one case, ready for inference.

    Parameters
    ----------
    model: the machine's variables.
    case: what was observed.
    findings: what the rules made of it.
    facts: what the rules were told of it; none where a part of the case is only supposed.
    """

    model: Model
    case: Case
    findings: tuple[RuleFinding, ...]
    facts: tuple[Fact, ...] = field(default=(), repr=False, compare=False)
    _states: Mapping[tuple[int, str], str] = field(init=False, repr=False)
    _bad: dict[tuple[int, str], Mapping[str, CircumstanceState]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def __post_init__(self) -> None:
        check_findings(self.model, self.case, self.findings)
        known = {
            (int(finding.values["run"]), str(finding.values["circumstance"])): str(
                finding.values["state"]
            )
            for finding in self.findings
            if finding.kind == "state"
        }
        object.__setattr__(self, "_states", known)

    @cached_property
    def spoilers(self) -> Mapping[int, tuple[tuple[str, CircumstanceState, float], ...]]:
        """Per run what may have spoiled it: circumstance, bad state, weight (sound: `sound`).

        Of a run whose other circumstances were stated to be good, an upset alone is left.

        >>> from diagnose import load_machine, rank, read_typed
        >>> good = ["oil=54C", "engine=on", "moving=no", "supply=180bar", "bleed-hose=stowed"]
        >>> told = read_typed(load_machine("mounted-6"), [*good, "response=PPPPPF"])
        >>> [kind for kind, _, _ in rank(load_machine("mounted-6"), told).evidence.spoilers[1]]
        ['upset']
        """
        return {run.index: tuple(self._spoilers(run)) for run in self.case.runs}

    def _spoilers(self, run: Run) -> Iterator[tuple[str, CircumstanceState, float]]:
        bad = self.known_bad(run)
        for circumstance in self.model.knowledge.of_scope("run").values():
            if circumstance.id in bad:
                yield circumstance.id, bad[circumstance.id], KNOWN_BAD_SPOILS
            elif (run.index, circumstance.id) not in self._states:
                for state in circumstance.states:
                    prior = state.prior_for(run.check) * self.sound(run)
                    if state.shows.get(run.check, 0.0) and prior:
                        yield circumstance.id, state, prior

    def sound(self, run: Run) -> float:
        """The weight of a run's being sound, beside those of what may have spoiled it.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine = load_machine("mounted-6")
        >>> told = ["bleed=PPPPPP", "response=FFFFFF", "engine=off"]
        >>> evidence = rank(machine, read_typed(machine, told)).evidence
        >>> [round(evidence.sound(run), 9) for run in evidence.case.runs]
        [1.0, 0.1]
        """
        return 1 - KNOWN_BAD_SPOILS if self.known_bad(run) else 1.0

    def known_bad(self, run: Run) -> Mapping[str, CircumstanceState]:
        """The known circumstances of a run that can make it fail.

        >>> from diagnose import load_machine, rank, read_typed
        >>> typed = ["response=FFFFFF", "oil=54C", "engine=off"]
        >>> told = read_typed(load_machine("mounted-6"), typed)
        >>> evidence = rank(load_machine("mounted-6"), told).evidence
        >>> [(kind, state.name) for kind, state in evidence.known_bad(told.runs[0]).items()]
        [('engine', 'not running')]
        """
        key = (run.index, run.check)
        if key not in self._bad:
            self._bad[key] = self._known_bad(run)
        return self._bad[key]

    def _known_bad(self, run: Run) -> Mapping[str, CircumstanceState]:
        bad = {}
        for circumstance in self.model.knowledge.of_scope("run").values():
            known = self._states.get((run.index, circumstance.id))
            state = circumstance.state(known) if known else None
            if state and state.shows.get(run.check, 0.0):
                bad[circumstance.id] = state
        return bad

    def stated(self, run: Run) -> frozenset[str]:
        """The circumstances of a run whose state is known.

        >>> from diagnose import load_machine, rank, read_typed
        >>> typed = ["response=FFFFFF", "oil=54C", "engine=off"]
        >>> told = read_typed(load_machine("mounted-6"), typed)
        >>> sorted(rank(load_machine("mounted-6"), told).evidence.stated(told.runs[0]))
        ['engine', 'oil']
        """
        return self._stated.get(run.index, frozenset())

    @cached_property
    def _stated(self) -> Mapping[int, frozenset[str]]:
        by_run: dict[int, set[str]] = {}
        for number, kind in self._states:
            by_run.setdefault(number, set()).add(kind)
        return {number: frozenset(kinds) for number, kinds in by_run.items()}

    @cached_property
    def lacking(self) -> frozenset[str]:
        """The lasting set-ups that were last known not to be there.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine, told = load_machine("mounted-6"), ["response=FFFFFF", "oil=10C"]
        >>> sorted(rank(machine, read_typed(machine, told)).evidence.lacking)
        ['warm-oil']
        >>> told += ["response=PPPPPP", "oil=54C"]
        >>> sorted(rank(machine, read_typed(machine, told)).evidence.lacking)
        []
        """
        setups = self.model.knowledge.setups.values()
        return frozenset(one.id for one in setups if one.lasting and self._lacks(one.id))

    def _lacks(self, lasting: str) -> bool:
        entered_by = {
            circumstance.id
            for circumstance in self.model.knowledge.of_scope("run").values()
            if circumstance.prepare and circumstance.prepare.setup == lasting
        }
        found = False
        for done in self.case.in_order():
            if isinstance(done, Run):
                bad, stated = self.known_bad(done), self.stated(done)
                found = bool(entered_by & set(bad)) or (found and not entered_by & stated)
            elif isinstance(done, Remedied):
                remedy = self.model.machine.parts[done.part].remedy(done.remedy)
                found = found and lasting not in remedy.wants
        return found

    @cached_property
    def unbled(self) -> Mapping[int, frozenset[int]]:
        """By run, the rows that were opened and not bled before it; under the next number, now.

        A failure of such a row says little: the air may be all that is wrong.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine = load_machine("mounted-6")
        >>> told = ["response=PPPPPF", "replace-valve@row-6=done", "response=.....F"]
        >>> evidence = rank(machine, read_typed(machine, told)).evidence
        >>> sorted(evidence.unbled[2]), [seen.leak for seen in evidence.results][-2:]
        ([6], [0.002, 0.4])
        """
        return unbled(self.model.machine, self.model.knowledge, self.case)

    @cached_property
    def epochs(self) -> Epochs:
        """What work did to the machine between the runs."""
        return Epochs(self.model, self.case.work)

    @cached_property
    def variables(self) -> tuple[str, ...]:
        """Names of all variables: the parts, then one for the circumstances of each run.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPPPF"])
        >>> rank(load_machine("mounted-6"), told).evidence.variables[-3:]
        ('row-6/sensor', 'run-1', 'run-2')
        """
        return (*self.model.machine.parts, *(f"run-{run.index}" for run in self.case.runs))

    @cached_property
    def offsets(self) -> np.typing.NDArray[np.intp]:
        """(variables + 1) first flat state of each variable.

        A row valve has seven states: it is sound or in one of six modes.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> evidence = rank(load_machine("mounted-6"), told).evidence
        >>> int(np.diff(evidence.offsets)[evidence.variables.index("row-6/valve")])
        7
        """
        sizes = [len(self.spoilers[run.index]) + 1 for run in self.case.runs]
        parts = self.epochs.offsets
        return np.concatenate([parts, parts[-1] + np.cumsum(sizes)])[
            : len(self.variables) + 1
        ].astype(np.intp)

    @cached_property
    def prior(self) -> Floats:
        """(states) prior of every state of every variable.

        An engine that was off spoils its run nine times in ten, and leaves it sound once.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=FFFFFF", "engine=off"])
        >>> evidence = rank(load_machine("mounted-6"), told).evidence
        >>> run = evidence.prior[evidence.offsets[-2] :]
        >>> engine = 1 + [kind for kind, _, _ in evidence.spoilers[1]].index("engine")
        >>> float(round(run[engine] / run[0], 9))
        9.0
        """
        runs = []
        for run in self.case.runs:
            weights = [self.sound(run), *(weight for _, _, weight in self.spoilers[run.index])]
            runs.append(np.array(weights) / sum(weights))
        return np.concatenate([self.epochs.prior(self.part_prior), *runs])

    @cached_property
    def part_prior(self) -> Floats:
        """(states of the model) prior of every mode, averaged over what the past left unknown.

        Mice make a broken bus five times as likely, beside a shorted one.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine = load_machine("mounted-6")
        >>> told = [read_typed(machine, [f"rodents={answer}"]) for answer in ("yes", "no")]
        >>> yes, no = (rank(machine, each).evidence for each in told)
        >>> bus = [yes.model.flat("power/bus", mode) for mode in ("broken", "shorted")]
        >>> broken, shorted = yes.part_prior[bus] / no.part_prior[bus]
        >>> float(round(broken / shorted, 9))
        5.0
        """
        return known_prior(self.model, self.case.history, self.findings)

    @cached_property
    def results(self) -> tuple[Observation, ...]:
        """Every pass and fail of every run.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=....PF"])
        >>> results = rank(load_machine("mounted-6"), told).evidence.results
        >>> [(seen.name, seen.outcome == PRESENT) for seen in results]
        [('response@5#1', False), ('response@6#1', True)]
        """
        return tuple(seen for run in self.case.runs for seen in self._run_results(run))

    def _run_results(self, run: Run) -> Iterator[Observation]:
        check = self.model.knowledge.checks[run.check]
        with_air = check.false_alarm if check.fails_with_air is None else check.fails_with_air
        unbled, circumstances = self.unbled[run.index], self._circumstance_entries(run)
        for row, result in enumerate(run.results, start=1):
            if result in (Result.PASS, Result.FAIL):
                yield Observation(
                    name=f"{run.check}@{row}#{run.index}",
                    outcome=PRESENT if result is Result.FAIL else ABSENT,
                    leak=with_air if row in unbled else check.false_alarm,
                    site=f"row-{row}",
                    entries=_joined(self.check_entries(run.check, row, run.epoch), circumstances),
                    run=run.index,
                    row=row,
                )

    def check_entries(self, check: str, row: int, epoch: int) -> Entries:
        """What the parts that a check on a row exercised in some epoch did to it."""
        return self.epochs.entries(self.model.check_entries(check, row), epoch)

    def _circumstance_entries(self, run: Run) -> Entries:
        first = self.offsets[len(self.model.machine.parts) + run.index - 1] + 1
        shows = [state.shows[run.check] for _, state, _ in self.spoilers[run.index]]
        with np.errstate(divide="ignore"):
            return first + np.arange(len(shows)), np.log1p(-np.array(shows, dtype=float))

    @cached_property
    def readings(self) -> tuple[Observation, ...]:
        """Every measurement that a rule turned into a result, as far as it tells something new.

        The same once more of what no work between could have changed is the same observation,
        see `Told`.

        8 Ω is what a sound coil has: neither of the bad results was there.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["coil-resistance@row-6=8ohm"])
        >>> readings = rank(load_machine("mounted-6"), told).evidence.readings
        >>> [(seen.name.partition("@")[0], seen.outcome == ABSENT) for seen in readings]
        [('coil-resistance:open', True), ('coil-resistance:low', True)]
        """
        return tuple(self._read[0])

    @cached_property
    def _read(self) -> tuple[tuple[Observation, ...], Told]:
        """What the readings tell one after another, and all that they have told."""
        found, told = [], Told(self.epochs)
        made = [one.values for one in self.findings if one.kind == "reading"]
        for values in sorted(made, key=lambda one: int(one["nth"])):
            part, measurement, result = (
                str(values[key]) for key in ("part", "measurement", "result")
            )
            nth = int(values["nth"])
            epoch = self.case.readings[nth - 1].epoch
            for seen in self.reading(part, measurement, result, nth):
                said = seen.name.partition("#")[0], seen.outcome, seen.entries, epoch
                news = told.news(*said)
                told.add(*said)
                if len(news[0]):
                    found.append(replace(seen, entries=news))
        return tuple(found), told

    def read_again(self, seen: Observation) -> tuple[Observation, bool]:
        """A bad result as it can turn out now, and whether it was there when last looked at.

        What was not there, with nothing done since to what it shows, is not there: no entries.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine, told = load_machine("mounted-6"), ["coil-resistance@row-6=8ohm"]
        >>> for work in "bleed-again@row-6/air=done", "replace-coil@row-6=done":
        ...     evidence = rank(machine, read_typed(machine, [*told, work])).evidence
        ...     open_now = evidence.possible("row-6/valve", "coil-resistance", "open")
        ...     print(len(evidence.read_again(open_now)[0].entries[0]))
        0
        1
        """
        told, now = self._read[1], self.epochs.now
        there = not len(told.news(seen.name, PRESENT, seen.entries, now)[0])
        entries = told.news(seen.name, ABSENT, seen.entries, now)
        return replace(seen, entries=entries, leak=seen.leak if len(entries[0]) else 0.0), there

    def reading(self, part: str, measurement: str, result: str, nth: int) -> Iterator[Observation]:
        """What the result of the case's nth reading stands for: bad ones are looked at in order.

        Open is looked at first: a coil that reads open is asked nothing of low.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["coil-resistance@row-6=2ohm"])
        >>> evidence = rank(load_machine("mounted-6"), told).evidence
        >>> for result in ("low", "open"):
        ...     seen = evidence.reading("row-6/valve", "coil-resistance", result, 1)
        ...     print([(one.name.partition("@")[0], one.outcome == PRESENT) for one in seen])
        [('coil-resistance:open', False), ('coil-resistance:low', True)]
        [('coil-resistance:open', True)]
        """
        epoch = self.case.readings[nth - 1].epoch
        for bad in self.measurement(part, measurement).results:
            present = bad.id == result
            outcome = PRESENT if present else ABSENT
            seen = self.possible(part, measurement, bad.id, outcome, epoch)
            yield replace(seen, name=f"{seen.name}#{nth}")
            if present:
                return

    def possible(
        self,
        part: str,
        measurement: str,
        result: str,
        outcome: int = OPEN,
        epoch: int | None = None,
    ) -> Observation:
        """One bad result of a measurement, open unless an outcome is given; now by default.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> evidence = rank(load_machine("mounted-6"), told).evidence
        >>> seen = evidence.possible("row-6/valve", "coil-resistance", "low")
        >>> seen.entries[0].tolist() == [evidence.model.flat("row-6/valve", "coil_shorted")]
        True
        """
        bad = next(r for r in self.measurement(part, measurement).results if r.id == result)
        rows = self.model.machine.rows_of(part)
        return Observation(
            name=f"{measurement}:{bad.id}@{part}",
            outcome=outcome,
            leak=bad.false_alarm,
            site=f"row-{rows[0]}" if rows else part,
            entries=self.epochs.entries(
                self.model.reading_entries(part, measurement, bad),
                self.epochs.now if epoch is None else epoch,
            ),
        )

    def measurement(self, part: str, measurement: str) -> Measurement:
        """A measurement that a part's kind lists."""
        return self.model.machine.parts[part].measurement(measurement)

    @cached_property
    def standing_failures(self) -> Mapping[tuple[str, int], int]:
        """By check and row, the number of the run in which it failed and has not passed since.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPFF", "response=....PF"])
        >>> dict(rank(load_machine("mounted-6"), told).evidence.standing_failures)
        {('response', 6): 2}
        """
        return standing_failures(self.case)

    @cached_property
    def failed_rows(self) -> tuple[int, ...]:
        """Rows that failed in the last run of some check that they were in.

        >>> from diagnose import load_machine, rank, read_typed
        >>> machine = load_machine("mounted-6")
        >>> told = ["bleed=F.....", "response=PPPPFF", "bleed=P....."]
        >>> rank(machine, read_typed(machine, told)).evidence.failed_rows
        (5, 6)
        """
        return failed_rows(self.case)

    @cached_property
    def observed(self) -> tuple[Observation, ...]:
        """All results and readings.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = ["inlet-pressure@supply=10bar", "response=.....F"]
        >>> told = read_typed(load_machine("mounted-6"), told)
        >>> [seen.name for seen in rank(load_machine("mounted-6"), told).evidence.observed]
        ['response@6#1', 'inlet-pressure:low@supply/coupler#1']
        """
        return (*self.results, *self.readings)

    @cached_property
    def network(self) -> Network:
        """The network of everything observed."""
        return self.network_of(self.observed)

    def network_of(self, seen: Sequence[Observation]) -> Network:
        """The network of some outcomes.

        >>> from diagnose import load_machine, rank, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=....PF"])
        >>> evidence = rank(load_machine("mounted-6"), told).evidence
        >>> evidence.network_of(evidence.results[:1]).finding_names
        ('response@5#1',)
        """
        sites: dict[str, int] = {}
        nothing = (np.zeros(0, dtype=np.intp), np.zeros(0))
        entries = [one.entries for one in seen] or [nothing]
        sizes = [len(one.entries[0]) for one in seen]
        return Network(
            names=self.variables,
            offsets=self.offsets,
            prior=self.prior,
            finding_names=tuple(one.name for one in seen),
            start=np.cumsum([0, *sizes], dtype=np.intp),
            state=np.concatenate([states for states, _ in entries]),
            log_survival=np.concatenate([logs for _, logs in entries]),
            leak=np.array([one.leak for one in seen], dtype=float),
            outcome=np.array([one.outcome for one in seen], dtype=np.intp),
            site=np.array([sites.setdefault(one.site, len(sites)) for one in seen], dtype=np.intp),
            occasion=np.array([one.run or -1 for one in seen], dtype=np.intp),
        )


def _joined(first: Entries, second: Entries) -> Entries:
    return np.concatenate([first[0], second[0]]), np.concatenate([first[1], second[1]])
