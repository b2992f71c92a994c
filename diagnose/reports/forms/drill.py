"""Drills that were played, in the forms ``rowfault/drill/1`` and ``rowfault/drills/1``."""

from __future__ import annotations

from typing import Literal

from diagnose.reports.forms.base import Frozen, Report


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
