"""What closed cases teach of the priors, in the form ``rowfault/lesson/1``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from diagnose.reports.forms.base import Frozen, Report


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
