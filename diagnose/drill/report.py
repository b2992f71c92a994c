"""A drill that was played, as plain data: for scripts, and for whoever keeps progress."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.drill.code import written
from diagnose.drill.record import Finished
from diagnose.drill.score import Debriefing, Verdict

SCHEMA = "rowfault/drill/1"


def drill_report(done: Debriefing) -> dict[str, object]:
    """The debriefing in the form ``rowfault/drill/1``.

    ``skills`` has each opportunity with the move at which it came up (from 1) and whether it was
    taken; what was hidden is told under ``truth``.
    """
    sitting, drill = done.sitting, done.drill
    return {
        "schema": SCHEMA,
        "code": written(drill.named, drill.knowledge),
        "machine": drill.machine.id,
        "level": drill.named.level,
        "seed": drill.named.seed,
        "marks": done.marks,
        "minutes": round(sitting.minutes, 2),
        "cost": round(sitting.cost, 2),
        "planner_cost": round(done.planned.cost, 2),
        "best_possible": round(done.best_possible, 2),
        "expected": round(done.expected, 2),
        "lost": round(sum(done.losses), 2),
        "right": done.right,
        "declared": list(done.declared),
        "truth": list(done.truth),
        "moves": [_move(each, done.truth) for each in done.verdicts],
        "skills": [
            {"skill": each.skill, "move": each.move, "taken": each.taken}
            for each in done.opportunities
        ],
    }


def finished(done: Debriefing, who: str) -> Finished:
    """What is kept of a drill that somebody finished now; nothing of what it hid.

    >>> from diagnose.drill.code import Named
    >>> from diagnose.drill.game import begin, play
    >>> from diagnose.drill.moves import Move
    >>> from diagnose.drill.score import Judge
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(Named("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> kept = finished(Judge(drill).debriefing(play(drill, [Move("give up")])), "Ann")
    >>> kept.who, kept.machine, kept.level, kept.minutes, kept.right
    ('Ann', 'mounted-6', 1, 0.0, False)
    """
    drill = done.drill
    return Finished(
        who=who,
        code=written(drill.named, drill.knowledge),
        machine=drill.machine.id,
        level=drill.named.level,
        marks=done.marks,
        minutes=round(done.sitting.minutes, 2),
        right=done.right,
        opportunities=done.opportunities,
    )


def _move(verdict: Verdict, truth: Sequence[str]) -> dict[str, object]:
    held = verdict.truth if truth else None
    return {
        "act": verdict.step.move.id,
        "minutes": round(verdict.step.minutes, 2),
        "parts_minutes": verdict.step.parts_minutes,
        "lost": round(verdict.loss, 2),
        "why": verdict.reason,
        "instead": verdict.instead,
        "leading": verdict.leading,
        "belief": round(verdict.belief, 6),
        "truth": None if held is None else round(held, 6),
    }
