"""The forms of drills, of progress in them, and of what closed cases teach."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from diagnose.reports.forms.base import Frozen, Moment, Report


class MoveReport(Frozen):
    """One move judged.

    ``minutes`` of work, ``parts_minutes`` what its part is worth, ``lost`` the expected minutes
    that it threw away, ``why``, and what the planner would have done ``instead``; ``belief`` is
    the chance of ``leading``, the likeliest cause after it, ``truth`` that of what was hidden.
    """

    act: str
    minutes: float
    parts_minutes: float
    lost: float
    why: str
    instead: str
    leading: str
    belief: float
    truth: float | None


class OpportunityReport(Frozen):
    """A skill that counted at a move, from 1, and whether the opportunity was taken."""

    skill: str
    move: int
    taken: bool


class DrillReport(Report):
    """A drill with its debriefing.

    ``minutes`` of work, ``cost`` with parts, what the planner and whoever knew the fault would
    need; ``expected`` what the job was worth and ``lost`` what was thrown away of it, from which
    the ``marks`` come; ``truth`` what was hidden.
    """

    form: Literal["rowfault/drill/1"] = "rowfault/drill/1"
    code: str
    machine: str
    level: int
    seed: int
    marks: int
    minutes: float
    cost: float
    planner_cost: float
    best_possible: float
    expected: float
    lost: float
    right: bool
    declared: tuple[str, ...]
    truth: tuple[str, ...]
    moves: tuple[MoveReport, ...]
    skills: tuple[OpportunityReport, ...]


class DrillsReport(Report):
    """Drills of one seed after another, that a player played."""

    form: Literal["rowfault/drills/1"] = "rowfault/drills/1"
    player: str
    drills: tuple[DrillReport, ...]


class FinishedReport(Frozen):
    """A finished drill as it is kept; ``minutes`` are of work."""

    code: str
    machine: str
    level: int
    marks: int
    minutes: float
    right: bool
    at: Moment
    id: str


class ModelReport(Frozen):
    """How a skill is estimated.

    A beta ``prior``, what a trial weighs after one later trial of its skill (``fades``), the
    ``fewest`` opportunities that say anything, and the chance that an ``interval`` holds.
    """

    prior: tuple[float, float]
    fades: float
    fewest: int
    interval: float


class SkillReport(Frozen):
    """A skill: opportunities taken, of how many, and the chance to take the next one.

    The chance is null for a skill that is not known yet.
    """

    skill: str
    says: str
    taken: int
    of: int
    mean: float | None
    low: float | None
    high: float | None


class AdviceReport(Frozen):
    """The level to drill next, for which skill, and why."""

    level: int
    name: str
    skill: str | None
    why: str


class ProgressReport(Report):
    """How somebody comes on, skill by skill, and what to drill next."""

    form: Literal["rowfault/progress/1"] = "rowfault/progress/1"
    who: str
    drills: tuple[FinishedReport, ...]
    model: ModelReport
    skills: tuple[SkillReport, ...]
    next: AdviceReport


class LeftOut(Frozen):
    """What was not counted: cases, and causes by how often they were named."""

    unfinished: int
    unknown_machines: Mapping[str, int]
    unknown_causes: Mapping[str, int]


class MovedReport(Frozen):
    """What closed cases do to one prior; rates are per part and case.

    ``weighs`` is the exposure, in parts times cases, that the shipped prior counts for, ``times``
    the new prior as a multiple of the shipped one, ``tail`` how likely it was, as shipped, to
    find what is at least as far out, and ``conflict`` whether that puts the prior in doubt.
    """

    id: str
    says: str
    shipped: float
    weighs: float
    learned: float
    low: float
    high: float
    times: float
    found: int
    expected: float
    part_cases: int
    tail: float
    conflict: bool


class LessonReport(Report):
    """How far closed cases would move the priors; what moves most comes first.

    ``priors`` is the set in force now, ``apart`` what is learned apart for a frame of machines,
    ``level`` the chance that an interval from ``low`` to ``high`` holds.
    """

    form: Literal["rowfault/lesson/1"] = "rowfault/lesson/1"
    priors: str
    cases: int
    frames: Mapping[str, int]
    left_out: LeftOut
    level: float
    moved: tuple[MovedReport, ...]
    kinds: tuple[MovedReport, ...]
    apart: Mapping[str, tuple[MovedReport, ...]]
    conflicts: tuple[MovedReport, ...]
