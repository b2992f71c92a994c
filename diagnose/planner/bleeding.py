"""The bleed that follows work which let air in, whoever proposed the work."""

from __future__ import annotations

from dataclasses import replace

from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.opened import LINE, done_by, rows_of
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.checks import Check
from diagnose.knowledge.parts import Remedy, Swap
from diagnose.observations.events import Work
from diagnose.planner.candidates import Candidate, rerun


def bleed_check(knowledge: Knowledge) -> Check | None:
    """The check that takes air out of its rows; None when there is none.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> bleed_check(load_knowledge()).id
    'bleed'
    """
    return next((check for check in knowledge.checks.values() if check.clears_air), None)


def bleed_after(evidence: Evidence, work: Work, check: str) -> Candidate | None:
    """The bleed of the rows that some work opens, before a check; None when it opens none.

    A bleed needs no bleed before it.

    >>> from diagnose import load_machine, rank, read_typed
    >>> from diagnose.observations.events import Swapped
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> evidence = rank(load_machine("mounted-6"), told).evidence
    >>> for swap in ("swap-valve", "swap-coil"):
    ...     act = bleed_after(evidence, Swapped(swap, "row-6/valve", "row-5/valve"), "response")
    ...     print(act and act.id)
    bleed@5-6
    None
    """
    machine, knowledge = evidence.model.machine, evidence.model.knowledge
    bleed = bleed_check(knowledge)
    if bleed is None or bleed.id == check or done_by(machine, work).opens != LINE:
        return None
    return rerun(evidence, bleed.id, sorted(rows_of(machine, work)), ())


def bleed_minutes(knowledge: Knowledge, work: Remedy | Swap, rows: int, check: Check) -> float:
    """What the bleed between some work and a check adds: its own minutes and the changes of set-up.

    A row's valve was replaced: 5 minutes until the hose is on, 3 and 1.5 to bleed, 5 until the
    machine is running without the hose, where a minute would have done.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> known = load_knowledge()
    >>> valve, response = known.parts["valve"], known.checks["response"]
    >>> bleed_minutes(known, valve.remedy("replace-valve"), 1, response)
    13.5
    >>> bleed_minutes(known, valve.remedy("replace-coil"), 1, response)
    0.0
    """
    bleed = bleed_check(knowledge)
    if bleed is None or bleed.id == check.id or work.opens != LINE:
        return 0.0
    there = knowledge.change_minutes(work.setup, bleed.setup)
    back = knowledge.change_minutes(bleed.setup, check.setup)
    spared = knowledge.change_minutes(work.setup, check.setup)
    return there + bleed.set_up_minutes + bleed.minutes_per_row * rows + back - spared


def followed(evidence: Evidence, first: Candidate, *steps: Candidate | None) -> Candidate:
    """Work with what follows it at once, as one act: all minutes, needs and cautions, one outcome.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> evidence = rank(load_machine("mounted-6"), told).evidence
    >>> look = Candidate("look", "look", "Look.", (6,), 2.0, (), setup="parked", ends="parked")
    >>> act = followed(evidence, look, None, rerun(evidence, "response", (6,), (6,)))
    >>> act.says, round(act.minutes, 6)
    ('Look; then rerun response on row 6', 6.15)
    """
    knowledge, whole = evidence.model.knowledge, first
    for step in steps:
        if step is not None:
            change = knowledge.change_minutes(whole.ends, step.setup)
            whole = replace(
                whole,
                says=f"{whole.says.rstrip('.')}; then {step.says}",
                minutes=whole.minutes + change + step.minutes,
                outcomes=step.outcomes,
                needs=tuple(dict.fromkeys([*whole.needs, *step.needs])),
                cautions=tuple(dict.fromkeys([*whole.cautions, *step.cautions])),
                ends=step.ends,
                wants=tuple(dict.fromkeys([*whole.wants, *step.wants])),
            )
    return whole
