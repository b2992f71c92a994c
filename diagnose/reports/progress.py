"""One person's record of drills, in the form ``rowfault/progress/1``."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.drill.level import Drills
from diagnose.drill.progress import FADES, FEWEST, JEFFREYS, Estimate, advised, estimates
from diagnose.drill.record import Finished
from diagnose.drill.skills import SKILLS
from diagnose.learning.conjugate import LEVEL
from diagnose.reports.forms.progress import (
    AdviceReport,
    FinishedReport,
    ModelReport,
    ProgressReport,
    SkillReport,
)


def build_progress_report(who: str, drills: Sequence[Finished], data: Drills) -> ProgressReport:
    """One person's record, from finished drills, the first one first.

    >>> from diagnose.drill.level import load_drills
    >>> from diagnose.drill.record import Opportunity
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
