"""The troubleshooting problem of one fault group: hypotheses, tests, repairs, and their minutes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property

import numpy as np

from diagnose.decision.problem import ANY, DecisionProblem, Repair, Test
from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.opened import done_by
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.checks import Check
from diagnose.knowledge.parts import ANY_SETUP
from diagnose.observations.events import Remedied, Run
from diagnose.planner.bleeding import bleed_minutes
from diagnose.planner.candidates import (
    Candidate,
    measurements,
    preparations,
    questions,
    rerun,
    rerun_sets,
    reruns,
)
from diagnose.planner.fault_groups import FaultGroup
from diagnose.planner.question_outcomes import history_questions
from diagnose.planner.repairs import RepairOption, repair_options
from diagnose.planner.setup_state import SetupState, every_setup_state, minutes_between, present
from diagnose.planner.swaps import put_back_minutes, swaps
from diagnose.planner.value import SEVERAL, ValueOfInformation, Weighed
from diagnose.record import record
from diagnose.tolerances import LEAST_FIXED, UNINFORMATIVE, UNLIKELY_BLAME


@record
class Means:
    """What is at hand: which tools are not, and whether a second person is.

    ``skipped`` are acts, by id, that cannot be done here for another reason.
    """

    without: frozenset[str] = frozenset()
    alone: bool = False
    skipped: frozenset[str] = frozenset()

    def allow(self, candidate: Candidate) -> bool:
        """Whether a candidate can be done with what is at hand.

        >>> volts = Candidate("v", "measure", "", (), 1, (), tool="meter", helper=True)
        >>> Means().allow(volts), Means(frozenset({"meter"})).allow(volts)
        (True, False)
        >>> Means(alone=True).allow(volts)
        False
        """
        missing = candidate.tool in self.without or (self.alone and candidate.helper)
        return not missing and candidate.id not in self.skipped


EVERYTHING = Means()
"""Every tool and a second person are at hand."""


@record
class TroubleshootingProblem:
    """One fault group of a ranking, and everything that could be done about it."""

    ranking: Ranking
    group: FaultGroup
    means: Means = EVERYTHING

    @property
    def evidence(self) -> Evidence:
        """The evidence behind the ranking."""
        return self.ranking.evidence

    @property
    def knowledge(self) -> Knowledge:
        """What is known of parts, checks and set-ups."""
        return self.evidence.model.knowledge

    @cached_property
    def check(self) -> str:
        """The check that the target failed.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPPPF"])
        >>> plan(load_machine("mounted-6"), told).problem.check
        'response'
        """
        return self.evidence.case.runs[self.group.target.run - 1].check

    @cached_property
    def failed_checks(self) -> tuple[str, ...]:
        """Every check that the target's row failed last.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPF", "response=PPPPPF"])
        >>> plan(load_machine("mounted-6"), told).problem.failed_checks
        ('bleed', 'response')
        """
        row = self.group.target.row
        failed = {check for check, each in self.evidence.standing_failures if each == row}
        return tuple(check for check in self.knowledge.checks if check in failed | {self.check})

    @cached_property
    def information(self) -> ValueOfInformation:
        """What weighs candidates."""
        return ValueOfInformation(self.ranking, self.group.target, sorted(self.asked_again))

    @property
    def asked_again(self) -> frozenset[int]:
        """The rows that some rerun to be weighed brings in.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-12"), ["response=PPPPPFPPPPPP"])
        >>> sorted(plan(load_machine("mounted-12"), told).problem.asked_again)
        [1, 2, 3, 4, 5, 6, 7, 8]
        """
        sets = rerun_sets(self.evidence, self.group.target.row, self.group.rows)
        return frozenset().union(*sets)

    @cached_property
    def tests(self) -> tuple[tuple[Candidate, Weighed], ...]:
        """Every test that is possible with what is at hand and tells something.

        Without a meter neither resistance nor voltage is read; the code is read in the cab.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> bare = Means(without=frozenset({"meter"}))
        >>> tests = plan(load_machine("mounted-6"), told, means=bare).problem.tests
        >>> [act.id for act, _ in tests if act.part == "row-6/valve" and act.kind == "measure"]
        ['valve-code@row-6/valve']
        """
        row = self.group.target.row
        every = [
            *reruns(self.evidence, row, self.group.rows),
            *measurements(self.evidence, row),
            *questions(self.evidence),
            *history_questions(self.evidence),
            *swaps(self.evidence, self.group.target),
        ]
        weighed = [(one, self.information.weigh(one)) for one in every if self.means.allow(one)]
        return tuple(pair for pair in weighed if pair[1].bits > UNINFORMATIVE)

    @cached_property
    def repairs(self) -> tuple[RepairOption, ...]:
        """Every remedy that some blame needs, and first the mere check again.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> problem = plan(load_machine("mounted-6"), told).problem
        >>> acts = [repair.candidate for repair in problem.repairs]
        >>> acts[0] is None, [act.id for act in acts[1:] if act.part == "row-6/connector"]
        (True, ['reseat-connector@row-6/connector', 'clean-connector@row-6/connector'])
        """
        every = repair_options(self.information, self.failed_checks)
        return tuple(m for m in every if m.candidate is None or self.means.allow(m.candidate))

    @cached_property
    def proofs(self) -> Mapping[str, Candidate]:
        """Per check that the target failed, its rerun on the group's rows: it proves a remedy.

        Three minutes to set up, and for the row 1.5 of bleeding or 0.15 of responding.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPF", "response=PPPPPF"])
        >>> proofs = plan(load_machine("mounted-6"), told).problem.proofs
        >>> {check: round(act.minutes, 6) for check, act in proofs.items()}
        {'bleed': 4.5, 'response': 3.15}
        """
        rows = self.group.rows
        return {check: rerun(self.evidence, check, rows, rows) for check in self.failed_checks}

    @cached_property
    def kept(self) -> np.typing.NDArray[np.intp]:
        """The blames that are likely enough to matter."""
        return np.flatnonzero(
            self.information.blame > UNLIKELY_BLAME * self.information.blame.sum()
        )

    @cached_property
    def setup(self) -> int:
        """The number, in the finite problem, of how the machine stands now."""
        return self.setup_states.index(self.setup_state)

    @cached_property
    def setup_state(self) -> SetupState:
        """How the machine stands now.

        Oil that was cold is cold still.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF", "oil=10C"])
        >>> setup_state = plan(load_machine("mounted-6"), told).problem.setup_state
        >>> setup_state.setup, sorted(setup_state.lacking)
        ('running', ['warm-oil'])
        """
        return present(self.evidence)

    @cached_property
    def setup_states(self) -> list[SetupState]:
        """Every way in which it may stand, in the order in which the finite problem counts them."""
        return every_setup_state(self.knowledge, self.setup_state)

    @cached_property
    def finite(self) -> DecisionProblem:
        """The same as a finite problem of decision theory.

        From running to bleeding, parked and running; handing over is worth 300 minutes.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> problem = plan(load_machine("mounted-6"), told).problem
        >>> problem.finite.changes[problem.setup].tolist(), problem.finite.last_resort
        ([6.0, 1.0, 0.0], 300.0)
        """
        blame = self.information.blame[self.kept]
        known, ways = self.knowledge, self.setup_states
        change = [[minutes_between(known, a, b) for b in ways] for a in ways]
        landing = [[ways.index(a.then(b)) for b in ways] for a in ways]
        return DecisionProblem(
            prior=blame / blame.sum(),
            tests=tuple(self._finite_tests()),
            repairs=tuple(self._finite_repairs()),
            change=np.array(change),
            last_resort=known.rates.hand_over_minutes,
            any_of=np.array(
                [self.information.names[blame] != SEVERAL for blame in self.kept.tolist()]
            ),
            landing=np.array(landing, dtype=np.intp),
        )

    def _finite_tests(self) -> Iterator[Test]:
        for candidate, weighed in self.tests:
            joint = weighed.table[:, self.kept].T
            total = joint.sum(axis=1, keepdims=True)
            ready = preparations(self.evidence, candidate.check) if candidate.check else []
            yield Test(
                id=candidate.id,
                minutes=candidate.minutes
                - sum(step.minutes for step in ready)
                + put_back_minutes(self.evidence, candidate, weighed),
                setup=self._number(candidate.setup, candidate.wants),
                likelihood=joint / total,
                ends=self._number(candidate.ends, candidate.wants),
            )

    def _finite_repairs(self) -> Iterator[Repair]:
        """Remedies, each repeated until it has worked: a failed one is no reason to hand over."""
        for repair in self.repairs:
            one = repair.candidate
            made = self.knowledge.checks[one.check if one else self.check]
            proof = made.set_up_minutes + made.minutes_per_row * len(self.group.rows)
            proof += self._bleed_minutes(one, made)
            setup = one.setup if one else made.setup
            minutes = one.minutes + self.knowledge.rates.price_minutes[one.price] if one else 0.0
            there_and_back = self.knowledge.change_minutes(made.setup, setup)
            there_and_back += self.knowledge.change_minutes(setup, made.setup)
            again = 1 / max(float(repair.fixes.max()), LEAST_FIXED) - 1
            yield Repair(
                id=one.id if one else f"{self.check}-again",
                minutes=minutes + again * (minutes + there_and_back + proof),
                setup=self._number(setup, one.wants if one else made.wants),
                fixes=(repair.fixes[self.kept] > 0).astype(float),
                proof_minutes=proof,
                proof_setup=self._number(made.setup, made.wants),
            )

    def _bleed_minutes(self, one: Candidate | None, made: Check) -> float:
        """Minutes of the bleed between a remedy and the check that proves it."""
        if one is None or one.work is None:
            return 0.0
        done, rows = done_by(self.evidence.model.machine, one.work), len(one.rows)
        return bleed_minutes(self.knowledge, done, rows, made)

    @cached_property
    def putting_right(self) -> float:
        """Expected minutes, once, to put right what was or may have been bad in the failed run."""
        return putting_right_minutes(self.ranking, self.check)

    @property
    def passes_again(self) -> float:
        """How likely it is that nothing but a check again is needed.

        Besides chance, only what spoiled the run is gone by itself.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> problem = plan(load_machine("mounted-6"), told).problem
        >>> names, blame = problem.information.names, problem.information.blame
        >>> itself = [name.startswith(("chance", "circumstances")) for name in names]
        >>> blame = blame / blame.sum()
        >>> abs(problem.passes_again - float(blame[itself].sum())) < 1e-9
        True
        """
        blame = self.information.blame
        return float(self.repairs[0].fixes @ blame / blame.sum())

    @cached_property
    def settled(self) -> float:
        """How much of the blame the likeliest single cause holds.

        >>> from diagnose import load_machine, plan, read_typed
        >>> machine, fails = load_machine("mounted-6"), ["bleed=PPPPPP", "response=PPPPPF"]
        >>> before = plan(machine, read_typed(machine, fails)).problem
        >>> told = [*fails, "coil-resistance@row-6=100ohm"]
        >>> after = plan(machine, read_typed(machine, told)).problem
        >>> before.settled < 0.5 < 0.9 < after.settled
        True
        """
        return float(self.information.blame[:-2].max() / self.information.blame.sum())

    @property
    def likeliest(self) -> str:
        """The single blame that holds most: the id of a cause, or chance.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = ["response=PPPPPF", "coil-resistance@row-6=100ohm"]
        >>> told = read_typed(load_machine("mounted-6"), told)
        >>> plan(load_machine("mounted-6"), told).problem.likeliest
        'row-6/valve:coil_open'
        """
        return self.information.names[int(self.information.blame[:-2].argmax())]

    def change_to(self, candidate: Candidate) -> float:
        """Minutes of the change of set-up before a candidate, and of what it wants to last.

        The engine runs: 1 minute to stop it, 25 more where the work wants oil that is warm.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF", "oil=10C"])
        >>> problem = plan(load_machine("mounted-6"), told).problem
        >>> dry = Candidate("dry", "remedy", "", (6,), 15, (), setup="parked")
        >>> warm = Candidate("warm", "remedy", "", (6,), 9, (), setup="parked", wants=("warm-oil",))
        >>> problem.change_to(dry), problem.change_to(warm)
        (1.0, 26.0)
        """
        wanted = self.setup_state.wanting(candidate.setup, candidate.wants)
        return minutes_between(self.knowledge, self.setup_state, wanted)

    def _number(self, setup: str, wants: Sequence[str]) -> int:
        wanted = self.setup_state.wanting(setup, wants)
        return ANY if setup == ANY_SETUP else self.setup_states.index(wanted)


def putting_right_minutes(ranking: Ranking, check: str) -> float:
    """Expected minutes to put right what was bad, or may have been, when a check was last run.

    What is known to be lacking and lasts once it is there is left out: it is charged where it is
    entered, see `setup_state`.

    That the oil was cold or cool is as likely as told, and warming it takes 25 minutes.

    >>> from diagnose import load_machine, rank, read_typed
    >>> steady = ["engine=on", "moving=no", "supply=180bar", "bleed-hose=stowed"]
    >>> told = read_typed(load_machine("mounted-6"), ["response=FFFFFF", *steady])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> [cold] = [cause for cause in found.causes if cause.id == "circumstances/oil@1"]
    >>> round(putting_right_minutes(found, "response") - 25 * cold.probability, 6)
    0.0
    >>> told = read_typed(load_machine("mounted-6"), ["response=FFFFFF", *steady, "oil=54C"])
    >>> putting_right_minutes(rank(load_machine("mounted-6"), told), "response")
    0.0
    """
    known = sum(step.minutes for step in preparations(ranking.evidence, check))
    return sum(_doubtful(ranking, check), float(known))


def _doubtful(ranking: Ranking, check: str) -> Iterator[float]:
    """Per circumstance that nobody stated in the last run, its minutes as likely as it was bad."""
    evidence = ranking.evidence
    made = [run for run in evidence.case.runs if run.check == check] or list(evidence.case.runs)
    if not made:
        return
    setups, kinds = evidence.model.knowledge.setups, evidence.model.knowledge.circumstances
    for cause in ranking.causes:
        if cause.part == f"run-{made[-1].index}" and cause.prepare and kinds[cause.mode].ask:
            lasting = cause.prepare.setup
            if not lasting and cause.mode not in evidence.stated(made[-1]):
                yield cause.probability * cause.prepare.minutes
            elif lasting and not _known(evidence, made[-1], cause.mode, lasting):
                yield cause.probability * setups[lasting].enter_minutes


def _known(evidence: Evidence, since: Run, circumstance: str, lasting: str) -> bool:
    """Whether it is known if a lasting set-up is there: somebody stated it, or work wanted it."""
    if lasting in evidence.lacking:
        return True
    parts, done = evidence.model.machine.parts, list(evidence.case.in_order())
    for event in done[done.index(since) :]:
        if isinstance(event, Run) and circumstance in evidence.stated(event):
            return True
        if isinstance(event, Remedied) and lasting in parts[event.part].remedy(event.remedy).wants:
            return True
    return False
