"""Everything that is to be said of one case, in the form ``rowfault/report/1``.

Rows carry what each check showed last, parts how likely they are at fault where they are now, the
timeline every event with what of it counts.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from diagnose.knowledge.parts import Price
from diagnose.reports.forms.base import Frozen, Moment, Report
from diagnose.reports.forms.layout import LayoutReport
from diagnose.reports.forms.plan import EndReport, ExpectedMinutes, StepReport
from diagnose.reports.forms.ranking import (
    CauseReport,
    FindingReport,
    FragileReport,
    Standing,
    TogetherReport,
)
from diagnose.reports.forms.timeline import TimelineEntry

Mark = Literal["fail", "unsure", "pass", "not-run"]


class MachineReport(Frozen):
    """The machine of a case."""

    id: str
    name: str
    rows: int


class HandoverReport(Frozen):
    """Who handed the case over last, to whom, why and when."""

    by: str
    to: str | None
    why: str | None
    at: Moment


class RowReport(Frozen):
    """A row: one mark for all that it showed, and a letter for each check."""

    row: int
    mark: Mark
    checks: Mapping[str, str]


class PartUsed(Frozen):
    """A part that was replaced: where, how, and its price class."""

    part: str
    says: str
    does: str
    price: Price
    price_says: str


class NamedCause(Frozen):
    """A cause by its id and in words."""

    id: str
    says: str


class PointReport(Frozen):
    """The chance of each cause after an entry; null where it could not be ranked."""

    entry: int
    chances: tuple[float | None, ...]


class OverTime(Frozen):
    """How the causes that led at some time rose and fell."""

    causes: tuple[NamedCause, ...]
    points: tuple[PointReport, ...]


class CountedRun(Frozen):
    """A run that counts: when, by whom, under which circumstances, after how much work."""

    run: int
    entry: int
    at: Moment
    who: str
    check: str
    pattern: str
    circumstances: tuple[str, ...]
    after_work: int
    standing: Standing | None
    why: tuple[str, ...]


class CuredReport(Frozen):
    """A cause that was there until a remedy cleared it, and the chance that it is left."""

    id: str
    says: str
    rows: tuple[int, ...]
    probability: float
    left: float


class NotPlanned(Frozen):
    """Why there is no plan."""

    says: str
    acts: tuple[()] = ()


class ProofReport(Frozen):
    """Whether the machine is proven good, what is missing if not, and the full runs that say so."""

    holds: bool
    says: str
    runs: tuple[int, ...]


class ConcludedCause(Frozen):
    """A cause that the conclusion names, with the chance that it was there."""

    id: str
    says: str
    was_there: float | None


class ConclusionReport(Frozen):
    """How the case ended."""

    outcome: str
    outcome_says: str
    causes: tuple[ConcludedCause, ...]
    says: str | None


class CaseReport(Report):
    """A whole case: what was told, what was made of it, what is left to do.

    ``impossible`` says which results cannot stand together or are too many; nothing is ranked
    then. ``minutes`` is by the clock, ``cured`` what a remedy has cleared, ``suspicion`` how
    likely each part is at fault where it is now, ``next`` the plan while the case is open.
    """

    form: Literal["rowfault/report/1"] = "rowfault/report/1"
    case: str
    title: str | None
    machine: MachineReport
    outcome: str
    outcome_says: str
    owner: str | None
    handed_over: HandoverReport | None
    opened: Moment
    last: Moment
    minutes: float
    who: tuple[str, ...]
    history: tuple[str, ...]
    layout: LayoutReport
    rows: tuple[RowReport, ...]
    timeline: tuple[TimelineEntry, ...]
    notes: tuple[str, ...]
    parts_used: tuple[PartUsed, ...]
    impossible: str | None
    over_time: OverTime
    runs: tuple[CountedRun, ...]
    findings: tuple[FindingReport, ...]
    causes: tuple[CauseReport, ...]
    cured: tuple[CuredReport, ...]
    suspicion: Mapping[str, float]
    together: tuple[TogetherReport, ...]
    fragile: tuple[FragileReport, ...] | None
    next: StepReport | EndReport | NotPlanned | None
    expected_minutes: ExpectedMinutes | None
    proof: ProofReport | None
    conclusion: ConclusionReport | None
    cautions: tuple[str, ...]
    priors: str
