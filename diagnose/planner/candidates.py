"""What could be done next, and the outcomes that each thing can have.

A candidate knows nothing of probabilities: only what it asks about, which outcomes it tells
apart, and what it costs. A rerun's outcomes are combinations of open findings, one a row. A
reading's results are looked at in order, so they stand on a ladder: step k of it is a finding
that is absent when none of the first k results is there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import accumulate

import numpy as np

from diagnose.diagnosis.evidence import Evidence, Observation
from diagnose.inference.network import OPEN
from diagnose.knowledge.circumstances import Ask, Circumstance, Prepare
from diagnose.knowledge.parts import ANY_SETUP, Measurement, Price, part_in_words
from diagnose.machine.graph import Machine
from diagnose.observations.events import Run, Work
from diagnose.observations.result import Result
from diagnose.observations.rows import ranges, rows_in_words
from diagnose.record import record
from diagnose.tolerances import FEW_ROWS, MOST_FAILURES, MOST_RERUNS, MOST_SUSPECTS


@record
class Outcome:
    """One way that a candidate can turn out: in words, and as open findings present or absent."""

    result: str
    event: Mapping[str, bool]


@record
class Candidate:
    """One thing to do next.

    Parameters
    ----------
    id: ``response@5-7``, ``coil-resistance@row-6/valve``, ``ask:oil@2``,
        ``swap-coil@row-6/valve+row-5/valve``, ``replace-coil@row-6/valve``.
    kind: ``rerun``, ``measure``, ``look``, ``ask``, ``swap`` or ``remedy``.
    minutes: the work itself, without changing the machine's set-up.
    setup, ends: the set-up that it wants, and the one that it leaves behind.
    wants: the lasting set-ups that it, or the check after it, needs too.
    helper: whether it wants a second person.
    outcomes: exclusive; what they leave over is "anything else".
    ladder: of a reading or a question, a finding for all its outcomes but the last.
    """

    id: str
    kind: str
    says: str
    rows: tuple[int, ...]
    minutes: float
    outcomes: tuple[Outcome, ...]
    ladder: tuple[Observation, ...] = ()
    needs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    check: str = ""
    part: str = ""
    tool: str = "none"
    setup: str = ANY_SETUP
    ends: str = ANY_SETUP
    wants: tuple[str, ...] = ()
    helper: bool = False
    work: Work | None = None
    price: Price = "none"
    qualified: bool = False


def rerun_name(check: str, row: int) -> str:
    """The open finding of a check rerun on one row.

    >>> rerun_name("response", 6)
    'response@6'
    """
    return f"{check}@{row}"


def open_reruns(evidence: Evidence, rows: Iterable[int]) -> Iterator[Observation]:
    """An open finding for each of the rows and every check, run as it should be.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> evidence = rank(load_machine("mounted-6"), told).evidence
    >>> [seen.name for seen in open_reruns(evidence, [5, 6])]
    ['bleed@5', 'response@5', 'bleed@6', 'response@6']
    """
    model = evidence.model
    for row in rows:
        for check in model.knowledge.checks:
            yield Observation(
                name=rerun_name(check, row),
                outcome=OPEN,
                leak=model.knowledge.checks[check].false_alarm,
                site=f"row-{row}",
                entries=evidence.check_entries(check, row, evidence.epochs.now),
            )


def reruns(evidence: Evidence, target: int, suspects: Sequence[int]) -> Iterator[Candidate]:
    """Reruns of every check over every useful set of rows; enough is enough, see `MOST_RERUNS`
    and `MOST_FAILURES`.

    ``suspects`` are the failed rows of the target's own fault group: a failure with another cause
    tells nothing about it.

    Row 6 alone, with its neighbour, or with its whole section; bled or made to respond.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> [act.id for act in reruns(rank(load_machine("mounted-6"), told).evidence, 6, [6])]
    ['bleed@6', 'bleed@5-6', 'bleed@1-6', 'response@6', 'response@5-6', 'response@1-6']
    """
    failed, sets = evidence.failed_rows, rerun_sets(evidence, target, suspects)
    times = Counter(row for run in evidence.case.runs for row in run.rows_with(Result.FAIL))
    for check in evidence.model.knowledge.checks:
        made = runs_since_work(evidence, check)
        for rows in sets:
            often = max(times[row] for row in rows) >= MOST_FAILURES
            if not often and max(made[row] for row in rows) < MOST_RERUNS:
                yield rerun(evidence, check, rows, failed)


def runs_since_work(evidence: Evidence, check: str) -> Counter[int]:
    """How often each row has been through a check since the last work.

    >>> from diagnose import load_machine, rank, read_typed
    >>> typed = ["response=PPPPPF", "replace-coil@row-6=done", "response=....PF", "response=.....F"]
    >>> told = read_typed(load_machine("mounted-6"), typed)
    >>> runs_since_work(rank(load_machine("mounted-6"), told).evidence, "response")
    Counter({6: 2, 5: 1})
    """
    return Counter(
        row
        for run in evidence.case.runs
        if run.check == check and run.epoch == evidence.epochs.now
        for row in (*run.rows_with(Result.PASS), *run.rows_with(Result.FAIL))
    )


def rerun_sets(evidence: Evidence, target: int, suspects: Sequence[int]) -> list[tuple[int, ...]]:
    """The sets of rows that are worth rerunning as things stand: see `row_sets`."""
    return row_sets(evidence.model.machine, suspects, evidence.failed_rows, target)


def row_sets(
    machine: Machine, suspects: Sequence[int], failed: Sequence[int], target: int
) -> list[tuple[int, ...]]:
    """Sets of rows worth rerunning, each once, small ones first.

    Rows that passed and share nothing with a suspect that a section, a branch or a chain would
    not show tell nothing more: the whole machine is run again to prove it good, not to isolate.

    >>> from diagnose.machine.graph import load_machine
    >>> row_sets(load_machine("mounted-12"), [2], [2, 9], 2)
    [(2,), (2, 9), (1, 2, 3), (1, 2, 3, 4), (1, 2, 3, 4, 5, 6)]
    """
    near = sorted(sorted(suspects, key=lambda row: (abs(row - target), row))[:MOST_SUSPECTS])
    shared = [*machine.sections.values(), *machine.branches.values(), *machine.chains.values()]
    half = len(suspects) // 2
    sets = [
        *((row,) for row in near),
        *(_with_neighbours(row, machine.rows) for row in near),
        *(tuple(sorted(rows)) for rows in shared if set(rows) & set(near)),
        tuple(suspects[:half]),
        tuple(suspects[half:]),
        tuple(suspects),
        tuple(failed) if len(failed) <= MOST_SUSPECTS else (),
    ]
    return sorted(dict.fromkeys(rows for rows in sets if rows), key=lambda rows: (len(rows), rows))


def _with_neighbours(row: int, rows: int) -> tuple[int, ...]:
    return tuple(near for near in (row - 1, row, row + 1) if 1 <= near <= rows)


def rerun(evidence: Evidence, check: str, rows: Sequence[int], failed: Sequence[int]) -> Candidate:
    """A rerun of one check on some rows, with what must be put right first.

    Three minutes to set up and 0.15 for each row.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> act = rerun(rank(load_machine("mounted-6"), told).evidence, "response", (5, 6), (6,))
    >>> act.id, act.says, round(act.minutes, 6)
    ('response@5-6', 'rerun response on rows 5–6', 3.3)
    """
    made = evidence.model.knowledge.checks[check]
    prepared = preparations(evidence, check)
    steps = [f"{step.does[0].lower()}{step.does[1:].rstrip('.')}; then " for step in prepared]
    return Candidate(
        id=f"{check}@{ranges(rows)}",
        kind="rerun",
        says=f"{''.join(steps)}{_again(evidence, check)} {check} on {rows_in_words(rows)}",
        rows=tuple(rows),
        minutes=made.set_up_minutes
        + made.minutes_per_row * len(rows)
        + sum(step.minutes for step in prepared),
        outcomes=tuple(rerun_outcomes(check, rows, set(failed))),
        needs=made.needs,
        cautions=(*(caution for step in prepared for caution in step.cautions), *made.cautions),
        check=check,
        setup=made.setup,
        ends=made.setup,
        wants=made.wants,
    )


def _again(evidence: Evidence, check: str) -> str:
    return "rerun" if any(run.check == check for run in evidence.case.runs) else "run"


def preparations(evidence: Evidence, check: str) -> list[Prepare]:
    """How to put right what was bad in the last run of a check, or of any when it was not run.

    What lasts is put right once: it is no longer bad when any later run had it.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=FFFFFF", "engine=off", "oil=54C"])
    >>> evidence = rank(load_machine("mounted-6"), told).evidence
    >>> [step.does for step in preparations(evidence, "response")]
    ['Start the engine.']
    """
    known = evidence.model.knowledge
    lasting = set(known.checks[check].wants) & evidence.lacking
    bad = _bad_last(evidence, check)
    found = []
    for each in known.circumstances.values():
        step = each.prepare
        if step and step.setup in lasting:
            found.append(step)
        elif step and not step.setup and each.id in bad:
            found.append(step if bad[each.id] else step.model_copy(update={"minutes": 0.0}))
    return found


def _bad_last(evidence: Evidence, check: str) -> Mapping[str, bool]:
    """What was known to be bad in the last run of a check, or of any when it was not run.

    False where it was right for that other check: the change of set-up has its minutes then.
    """
    own = [run for run in evidence.case.runs if run.check == check]
    last = (own or list(evidence.case.runs))[-1:]
    return {
        kind: kind in evidence.known_bad(run)
        for run in last
        for kind in evidence.known_bad(replace(run, check=check))
    }


def required_rerun(evidence: Evidence) -> Candidate | None:
    """The run that must come first: the bleed of rows that were opened, else a run made again.

    What was opened is bled before its results count. Where all failures come from runs known to be
    unsound, such a run says little of the machine; what it needs is to be made again as it should
    be.

    >>> from diagnose import load_machine, rank, read_typed
    >>> machine = load_machine("mounted-6")
    >>> off = rank(machine, read_typed(machine, ["response=PPPPPF", "engine=off"]))
    >>> required_rerun(off.evidence).says
    'start the engine; then rerun response on row 6'
    >>> on = rank(machine, read_typed(machine, ["response=PPPPPF", "engine=on"]))
    >>> required_rerun(on.evidence) is None
    True
    """
    opened = evidence.unbled[len(evidence.case.runs) + 1]
    bleed = next((c.id for c in evidence.model.knowledge.checks.values() if c.clears_air), None)
    if opened and bleed is not None:
        return rerun(evidence, bleed, sorted(opened), evidence.failed_rows)
    failing = [run for run in evidence.case.runs if run.rows_with(Result.FAIL)]
    if not failing or not all(evidence.known_bad(run) for run in failing):
        return None
    run = failing[-1]
    if not preparations(evidence, run.check):
        return None
    return rerun(evidence, run.check, run.rows_with(Result.FAIL), run.rows_with(Result.FAIL))


def rerun_outcomes(check: str, rows: Sequence[int], failed: set[int]) -> Iterator[Outcome]:
    """Every pattern of few rows; of more, the main ones: none, all, and those that failed.

    >>> [outcome.result for outcome in rerun_outcomes("response", (5, 6), {6})]
    ['all pass', 'only 5 fails', 'only 6 fails', 'all fail']
    """
    if len(rows) <= FEW_ROWS:
        for bits in range(2 ** len(rows)):
            failing = {row for place, row in enumerate(rows) if bits >> place & 1}
            yield _rerun_outcome(check, rows, failing)
        return
    distinct = {frozenset(): None, frozenset(rows): None, frozenset(failed & set(rows)): None}
    for rows_failing in distinct:
        yield _rerun_outcome(check, rows, set(rows_failing))


def _rerun_outcome(check: str, rows: Sequence[int], failing: set[int]) -> Outcome:
    event = {rerun_name(check, row): row in failing for row in rows}
    some = sorted(failing)
    if not failing:
        return Outcome("passes" if len(rows) == 1 else "all pass", event)
    if len(failing) == len(rows):
        return Outcome("fails again" if len(rows) == 1 else "all fail", event)
    return Outcome(f"only {ranges(some)} {'fails' if len(some) == 1 else 'fail'}", event)


def measurements(evidence: Evidence, target: int) -> Iterator[Candidate]:
    """Readings of, and looks at, the parts that a row depends on; none that is known already.

    The coil was read already, and nothing was done to it; the rest can still be done.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["coil-resistance@row-6=8ohm"])
    >>> every = measurements(rank(load_machine("mounted-6"), told).evidence, 6)
    >>> [act.id.partition("@")[0] for act in every if act.part == "row-6/valve"]
    ['coil-voltage', 'valve-code', 'look-leak']
    """
    machine = evidence.model.machine
    checks = evidence.model.knowledge.checks
    for part in dict.fromkeys(p for check in checks for p in machine.ancestors(target, check)):
        for measurement in machine.parts[part].measurements:
            seen = [evidence.possible(part, measurement.id, bad.id) for bad in measurement.results]
            again = [evidence.read_again(one) for one in seen]
            if not _known(again):
                yield _measurement(evidence, part, measurement, [one for one, _ in again])


def _known(again: Sequence[tuple[Observation, bool]]) -> bool:
    """Whether a reading would say what it said: results are looked at until one is there."""
    for seen, there in again:
        if there or len(seen.entries[0]):
            return there
    return True


def _measurement(
    evidence: Evidence, part: str, measurement: Measurement, seen: Sequence[Observation]
) -> Candidate:
    return Candidate(
        id=f"{measurement.id}@{part}",
        kind=measurement.kind,
        says=f"{part_in_words(part, evidence.model.machine.parts[part])}: {measurement.says}",
        rows=evidence.model.machine.rows_of(part),
        minutes=measurement.minutes,
        outcomes=(*(Outcome(bad.says, {}) for bad in measurement.results), Outcome("good", {})),
        ladder=tuple(accumulate(seen, _none_of)),
        needs=measurement.needs,
        cautions=(measurement.caution,) if measurement.caution else (),
        part=part,
        tool=measurement.tool,
        setup=measurement.setup,
        ends=measurement.setup,
        helper=measurement.helper,
    )


def _none_of(first: Observation, second: Observation) -> Observation:
    """A finding that is absent when both are."""
    logs: dict[int, float] = {}
    for states, survival in (first.entries, second.entries):
        for state, log in zip(states.tolist(), survival.tolist(), strict=True):
            logs[state] = logs.get(state, 0.0) + log
    return Observation(
        name=second.name,
        outcome=OPEN,
        leak=1 - (1 - first.leak) * (1 - second.leak),
        site=second.site,
        entries=(np.array(list(logs), dtype=np.intp), np.array(list(logs.values()))),
    )


def questions(evidence: Evidence) -> Iterator[Candidate]:
    """Questions about circumstances that nobody stated, of runs in which a row failed.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF", "oil=54C", "moving=no"])
    >>> [act.id for act in questions(rank(load_machine("mounted-6"), told).evidence)]
    ['ask:bleed-hose@1', 'ask:engine@1', 'ask:supply@1']
    """
    for run in evidence.case.runs:
        if run.rows_with(Result.FAIL):
            kinds = dict.fromkeys(kind for kind, _, _ in evidence.spoilers[run.index])
            for kind in kinds:
                circumstance = evidence.model.knowledge.circumstances[kind]
                if circumstance.ask is not None and kind not in evidence.known_bad(run):
                    yield _question(evidence, run, circumstance, circumstance.ask)


def _question(evidence: Evidence, run: Run, asked: Circumstance, ask: Ask) -> Candidate:
    first = int(evidence.offsets[evidence.variables.index(f"run-{run.index}")])
    states = enumerate(evidence.spoilers[run.index], start=1)
    bad = {first + s: state.name for s, (kind, state, _) in states if kind == asked.id}
    id = f"ask:{asked.id}@{run.index}"
    return Candidate(
        id=id,
        kind="ask",
        says=f"ask about run {run.index}: {ask.question}",
        rows=(),
        minutes=ask.minutes,
        outcomes=(
            Outcome(" or ".join(bad.values()), {}),
            Outcome(asked.good_state(run.check).name, {}),
        ),
        ladder=(
            Observation(
                id, OPEN, 0.0, f"run-{run.index}", (np.array(list(bad)), np.full(len(bad), -np.inf))
            ),
        ),
    )
