"""The forms of a case: its report, its timeline, its entries, the record of a proven machine."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_serializer

from diagnose.knowledge.parts import Price
from diagnose.observations.encoding import encode
from diagnose.observations.entries import Event, What
from diagnose.reports.forms.base import Frozen, Moment, Report
from diagnose.reports.forms.ranking import (
    CauseReport,
    EndReport,
    ExpectedMinutes,
    FindingReport,
    FragileReport,
    LayoutReport,
    Standing,
    StepReport,
    TogetherReport,
)


class CorrectedReport(Frozen):
    """How an entry was corrected: by which entry, by whom, and what counts instead, if anything."""

    by: int
    who: str
    at: Moment
    instead: str | None
    reason: str | None


class TimelineEntry(Frozen):
    """One thing that was told; ``counts`` is whether it counts as it was told."""

    number: int
    id: str
    at: Moment
    who: str
    kind: str
    says: str
    question: str | None
    counts: bool
    corrected: CorrectedReport | None


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


class SeasonReport(Report):
    """The runs, what was repaired and what proves it, for somebody to sign.

    ``work`` is what was done to the machine, in order; ``found`` what was at fault and is gone.
    """

    form: Literal["rowfault/season/1"] = "rowfault/season/1"
    case: str
    title: str | None
    machine: MachineReport
    opened: Moment
    last: Moment
    who: tuple[str, ...]
    history: tuple[str, ...]
    runs: tuple[CountedRun, ...]
    parts_used: tuple[PartUsed, ...]
    proven_at: Moment
    work: tuple[str, ...]
    found: tuple[NamedCause, ...]
    proof: ProofReport
    priors: str
    cautions: tuple[str, ...]


class KeptEvent(BaseModel):
    """One thing that was told, with the hash that holds it to the one before."""

    model_config = ConfigDict(frozen=True)

    id: str
    at: datetime
    who: str
    what: Annotated[What, Field(discriminator="kind")]
    question: str | None = None
    seen: str | None = None
    before: tuple[str, ...] = ()
    same_as: str | None = None
    sha256: str

    @model_serializer(mode="plain")
    def _as_it_is_kept(self) -> dict[str, Any]:
        told = {name: getattr(self, name) for name in type(self).model_fields if name != "sha256"}
        return {**encode(Event(**told)), "sha256": self.sha256}


class StoryReport(Report):
    """A case as it is kept: how many entries, the hash of the last, and each of them in order.

    What an entry does not say is left out of it.
    """

    SCHEMA_OF = "validation"

    form: Literal["rowfault/case/3"] = "rowfault/case/3"
    entries: int
    head: str
    events: tuple[KeptEvent, ...]
