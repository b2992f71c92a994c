"""Drills that were played, in the forms ``rowfault/drill/1`` and ``rowfault/drills/1``."""

from __future__ import annotations

from diagnose.drill.code import written
from diagnose.drill.score import Debriefing, Verdict
from diagnose.reports.forms.drill import DrillReport, MoveReport, OpportunityReport


def build_drill_report(done: Debriefing) -> DrillReport:
    """The report of a drill that was played.

    >>> from diagnose.drill.code import Named
    >>> from diagnose.drill.game import begin, play
    >>> from diagnose.drill.moves import Move
    >>> from diagnose.drill.score import Judge
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(Named("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> report = build_drill_report(Judge(drill).debriefing(play(drill, [Move("give up")])))
    >>> report.lost, report.right, report.moves[0].act
    (300.0, False, 'give-up')
    """
    sitting, drill = done.sitting, done.drill
    return DrillReport(
        code=written(drill.named, drill.knowledge),
        machine=drill.machine.id,
        level=drill.named.level,
        seed=drill.named.seed,
        marks=done.marks,
        minutes=round(sitting.minutes, 2),
        cost=round(sitting.cost, 2),
        planner_cost=round(done.planned.cost, 2),
        best_possible=round(done.best_possible, 2),
        expected=round(done.expected, 2),
        lost=round(sum(done.losses), 2),
        right=done.right,
        declared=tuple(done.declared),
        truth=tuple(done.truth),
        moves=tuple(_move(each, known=bool(done.truth)) for each in done.verdicts),
        skills=tuple(
            OpportunityReport(skill=each.skill, move=each.move, taken=each.taken)
            for each in done.opportunities
        ),
    )


def _move(verdict: Verdict, *, known: bool) -> MoveReport:
    """A move; what the truth was given is told where something was hidden."""
    held = verdict.truth if known else None
    return MoveReport(
        act=verdict.step.move.id,
        minutes=round(verdict.step.minutes, 2),
        parts_minutes=verdict.step.parts_minutes,
        lost=round(verdict.loss, 2),
        why=verdict.reason,
        instead=verdict.instead,
        leading=verdict.leading,
        belief=round(verdict.belief, 6),
        truth=None if held is None else round(held, 6),
    )
