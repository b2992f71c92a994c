"""What was told of a case, entry by entry, with what of it counts."""

from __future__ import annotations

from diagnose.reports.forms.base import Frozen, Moment


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
