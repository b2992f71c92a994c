"""Reports of drills, of progress in them, and of what closed cases teach."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from diagnose.knowledge.parts import PartKind
from diagnose.learning.conjugate import LEVEL
from diagnose.learning.update import Lesson, Moved
from diagnose.reports.forms.training import (
    AdviceReport,
    DrillReport,
    FinishedReport,
    LeftOut,
    LessonReport,
    ModelReport,
    MovedReport,
    MoveReport,
    OpportunityReport,
    ProgressReport,
    SkillReport,
)
from diagnose.training.level import Drills
from diagnose.training.progress import FADES, FEWEST, JEFFREYS, Estimate, advised, estimates
from diagnose.training.record import Finished
from diagnose.training.score import Debriefing, Verdict
from diagnose.training.share_code import encode_drill
from diagnose.training.skills import SKILLS


def build_drill_report(done: Debriefing) -> DrillReport:
    """The report of a drill that was played.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin, play
    >>> from diagnose.training.moves import Move
    >>> from diagnose.training.score import Judge
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> report = build_drill_report(Judge(drill).debriefing(play(drill, [Move("give up")])))
    >>> report.lost, report.right, report.moves[0].act
    (300.0, False, 'give-up')
    """
    sitting, drill = done.sitting, done.drill
    return DrillReport(
        code=encode_drill(drill.named, drill.knowledge),
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


def build_progress_report(who: str, drills: Sequence[Finished], data: Drills) -> ProgressReport:
    """One person's record, from finished drills, the first one first.

    >>> from diagnose.training.level import load_drills
    >>> from diagnose.training.record import Opportunity
    >>> seen = tuple(Opportunity("prove", move, True) for move in (5, 6, 7))
    >>> done = Finished("A", "", "mounted-6", 1, 90, 80.0, True, seen)
    >>> report = build_progress_report("A", [done], load_drills())
    >>> [each.skill for each in report.skills if each.mean is not None]
    ['prove']
    """
    advice = advised(drills, data)
    return ProgressReport(
        who=who,
        drills=tuple(map(_drill, drills)),
        model=ModelReport(
            prior=(JEFFREYS.hits, JEFFREYS.misses), fades=FADES, fewest=FEWEST, interval=LEVEL
        ),
        skills=tuple(map(_skill, estimates(drills))),
        next=AdviceReport(
            level=advice.level.number,
            name=advice.level.name,
            skill=advice.estimate.skill if advice.estimate else None,
            why=advice.why,
        ),
    )


def _drill(done: Finished) -> FinishedReport:
    return FinishedReport(
        code=done.code,
        machine=done.machine,
        level=done.level,
        marks=done.marks,
        minutes=done.minutes,
        right=done.right,
        at=done.at.isoformat(),
        id=done.id,
    )


def _skill(each: Estimate) -> SkillReport:
    low, high = each.interval
    mean, low, high = round(each.belief.mean, 6), round(low, 6), round(high, 6)
    return SkillReport(
        skill=each.skill,
        says=SKILLS[each.skill],
        taken=each.taken,
        of=each.of,
        mean=mean if each.known else None,
        low=low if each.known else None,
        high=high if each.known else None,
    )


def build_lesson_report(lesson: Lesson, parts: Mapping[str, PartKind], priors: str) -> LessonReport:
    """The lesson; ``priors`` is the id of the set that is in force now.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.learning.conjugate import Gamma
    >>> from diagnose.learning.counts import Counts
    >>> little = Moved("valve", "coil_open", Gamma(1, 100), 2, 100, 0.1, False)
    >>> much = Moved("valve", "leaking", Gamma(1, 100), 9, 100, 0.001, True)
    >>> lesson = Lesson(Counts(), (little, much), (), {})
    >>> report = build_lesson_report(lesson, load_knowledge().parts, "shipped")
    >>> [(each.id, each.times) for each in report.moved]
    [('valve:leaking', 5.0), ('valve:coil_open', 1.5)]
    """
    counts = lesson.counts
    return LessonReport(
        priors=priors,
        cases=counts.fleet.cases,
        frames={frame: tally.cases for frame, tally in counts.frames.items() if tally.cases},
        left_out=LeftOut(
            unfinished=counts.unfinished,
            unknown_machines=counts.unknown_machines,
            unknown_causes=counts.unknown_causes,
        ),
        level=LEVEL,
        moved=_in_order(lesson.modes, parts),
        kinds=_in_order(lesson.kinds, parts),
        apart={frame: _in_order(moved, parts) for frame, moved in lesson.frames.items()},
        conflicts=tuple(_moved(each, parts) for each in lesson.conflicts),
    )


def _in_order(moved: Sequence[Moved], parts: Mapping[str, PartKind]) -> tuple[MovedReport, ...]:
    most = sorted(moved, key=lambda each: -max(each.times, 1 / each.times))
    return tuple(_moved(each, parts) for each in most)


def _moved(moved: Moved, parts: Mapping[str, PartKind]) -> MovedReport:
    low, high = moved.after.interval()
    return MovedReport(
        id=f"{moved.kind}:{moved.mode}" if moved.mode else moved.kind,
        says=", ".join(_names(moved, parts[moved.kind])),
        shipped=moved.before.mean,
        weighs=moved.before.exposure,
        learned=moved.after.mean,
        low=low,
        high=high,
        times=moved.times,
        found=moved.found,
        expected=moved.expected,
        part_cases=moved.part_cases,
        tail=moved.tail,
        conflict=moved.conflict,
    )


def _names(moved: Moved, kind: PartKind) -> Iterator[str]:
    yield kind.name
    yield kind.mode(moved.mode).name if moved.mode else "all modes together"
