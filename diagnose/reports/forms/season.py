"""The season record of a machine that is proven good, in the form ``rowfault/season/1``."""

from __future__ import annotations

from typing import Literal

from diagnose.reports.forms.base import Moment, Report
from diagnose.reports.forms.case import CountedRun, MachineReport, NamedCause, PartUsed, ProofReport


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
