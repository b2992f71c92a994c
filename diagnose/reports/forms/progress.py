"""One person's record of drills, in the form ``rowfault/progress/1``."""

from __future__ import annotations

from typing import Literal

from diagnose.reports.forms.base import Frozen, Moment, Report


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
