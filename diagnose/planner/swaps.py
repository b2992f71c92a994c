"""Swaps with a neighbour: does the failure stay with the row, or does it go along?

Both rows are checked again afterwards. How that would turn out is reckoned for each single blame
as if nothing else were wrong in the two rows; what is shown to people is inferred again with the
machine as it would then be.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Protocol

import numpy as np

from diagnose.arrays import Floats
from diagnose.diagnosis.epochs import moved_modes
from diagnose.diagnosis.evidence import Evidence, Observation
from diagnose.knowledge.parts import Swap, part_in_words
from diagnose.observations.events import Swapped
from diagnose.observations.result import Result
from diagnose.planner.bleeding import bleed_after, followed
from diagnose.planner.candidates import Candidate, Outcome, rerun, rerun_name
from diagnose.planner.question_outcomes import Beliefs

STAYS, FOLLOWS, BOTH_PASS, BOTH_FAIL = (
    "the failure stays",
    "the failure goes along",
    "both pass",
    "both fail",
)


class _Told(Protocol):
    """What a candidate's outcomes tell: (outcomes, blames + 1) joint probabilities."""

    @property
    def table(self) -> Floats:
        """The joint probability of every outcome with every blame."""


def swaps(evidence: Evidence, target: Observation) -> Iterator[Candidate]:
    """Every swap of a part of the target's row with the nearest sound row's, where there is one.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> problem = plan(load_machine("mounted-6"), told).problem
    >>> every = swaps(problem.evidence, problem.group.target)
    >>> sorted(act.id for act in every)[:2]
    ['cross-plugs@row-6/connector+row-5/connector', 'swap-coil@row-6/valve+row-5/valve']
    """
    machine = evidence.model.machine
    check = evidence.case.runs[target.run - 1].check
    done = {(work.swap, work.part) for work in evidence.case.work if isinstance(work, Swapped)}
    for part in machine.at(f"row-{target.row}"):
        kind = machine.parts[part]
        for swap in kind.swaps:
            row = neighbour(evidence, target.row, check, electric=kind.side == "electric")
            if row and (swap.id, part) not in done:
                yield _swap(evidence, check, part, swap, target.row, row)


def neighbour(evidence: Evidence, row: int, check: str, *, electric: bool) -> int | None:
    """The nearest row that passed a check and has not failed since; on the same branch of wiring
    when leads are to reach.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPFFF"])
    >>> neighbour(rank(load_machine("mounted-6"), told).evidence, 6, "response", electric=False)
    3
    """
    machine = evidence.model.machine
    failed = set(evidence.failed_rows)
    passed = {
        each
        for run in evidence.case.runs
        if run.check == check
        for each in run.rows_with(Result.PASS)
    } - failed
    if electric:
        passed &= next(set(rows) for rows in machine.branches.values() if row in rows)
    return min(passed, key=lambda each: (abs(each - row), each), default=None)


def _swap(evidence: Evidence, check: str, part: str, swap: Swap, row: int, other: int) -> Candidate:
    kind = evidence.model.machine.parts[part]
    work = Swapped(swap.id, part, f"row-{other}/{part.partition('/')[2]}")
    rows = tuple(sorted((row, other)))
    here, there = rerun_name(check, row), rerun_name(check, other)
    again = replace(
        rerun(evidence, check, rows, ()),
        outcomes=(
            Outcome(STAYS, {here: True, there: False}),
            Outcome(FOLLOWS, {here: False, there: True}),
            Outcome(BOTH_PASS, {here: False, there: False}),
            Outcome(BOTH_FAIL, {here: True, there: True}),
        ),
    )
    done = Candidate(
        id=work.id,
        kind="swap",
        says=f"{part_in_words(part, kind)}: {swap.does.rstrip('.')}, row {row} with row {other}",
        rows=rows,
        minutes=swap.minutes,
        outcomes=(),
        needs=swap.needs,
        cautions=(swap.caution,) if swap.caution else (),
        check=check,
        part=part,
        setup=swap.setup,
        ends=swap.setup,
        helper=swap.helper,
        work=work,
    )
    return followed(evidence, done, bleed_after(evidence, work, check), again)


def swap_table(beliefs: Beliefs, target: Observation, candidate: Candidate) -> list[Floats]:
    """(blames + 2) joint probabilities of each outcome of a swap.

    If it was a false alarm, only a further one (0.002) makes either row fail after the swap.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> problem = plan(load_machine("mounted-6"), told).problem
    >>> act = next(swaps(problem.evidence, problem.group.target))
    >>> table = np.array(swap_table(problem.information.beliefs, problem.group.target, act))
    >>> (table[:, 0] / table[:, 0].sum()).round(6).tolist()
    [0.001996, 0.001996, 0.996004, 4e-06]
    """
    evidence = beliefs.ranking.evidence
    here, there = _reaches(evidence, target, candidate)
    fails = [_fails(beliefs, survival, target.leak) for survival in (here, there)]
    one, two = fails
    both = [one * (1 - two), (1 - one) * two, (1 - one) * (1 - two), one * two]
    return [chance * beliefs.blame for chance in both]


def put_back_minutes(evidence: Evidence, candidate: Candidate, told: _Told) -> float:
    """Minutes that it takes on average to put back what a candidate swaps; 0 for anything else.

    A piece that the failure goes along with is replaced where it is by then, if it can be.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> evidence = plan(load_machine("mounted-6"), told).problem.evidence
    >>> every = swaps(evidence, plan(load_machine("mounted-6"), told).problem.group.target)
    >>> by_id = {act.id.partition("@")[0]: act for act in every}
    >>> from types import SimpleNamespace
    >>> follows = SimpleNamespace(table=np.array([[0.0], [1.0], [0.0], [0.0]]))
    >>> [put_back_minutes(evidence, by_id[id], follows) for id in ("swap-coil", "cross-plugs")]
    [0.0, 6.0]
    """
    work = candidate.work
    if not isinstance(work, Swapped):
        return 0.0
    swap = evidence.model.machine.parts[work.part].swap(work.swap)
    ways = [outcome.result for outcome in candidate.outcomes]
    chance = told.table.sum(axis=1)
    follows = float(chance[ways.index(FOLLOWS)] / chance.sum()) if swap.ended_by else 0.0
    return swap.minutes * (1 - follows)


def _reaches(
    evidence: Evidence, target: Observation, candidate: Candidate
) -> tuple[Floats, Floats]:
    """(states) survival that each state leaves to a check on the target's row, and the other's."""
    work = candidate.work
    assert isinstance(work, Swapped)
    swap = evidence.model.machine.parts[work.part].swap(work.swap)
    epochs = evidence.epochs
    moved = [
        epochs.present(part, mode)
        for part, mode in moved_modes(evidence.model.machine, work.part, swap)
    ]
    other = next(row for row in candidate.rows if row != target.row)
    here, there = np.ones(evidence.offsets[-1]), np.ones(evidence.offsets[-1])
    for survival, row in ((here, target.row), (there, other)):
        states, logs = evidence.check_entries(candidate.check, row, epochs.now)
        survival[states] = np.exp(logs)
    there[moved], here[moved] = here[moved], 1.0
    return here, there


def _fails(beliefs: Beliefs, survival: Floats, leak: float) -> Floats:
    """(blames + 2) chance that a check fails, given each blame and nothing else wrong."""
    single, several = survival[beliefs.blamed], beliefs.together_survive(survival)
    passes: Floats = np.concatenate([[1.0], single, several]) * (1 - leak)
    return 1 - passes
