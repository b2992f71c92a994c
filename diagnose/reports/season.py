"""The season record of a machine that is proven good, in the form ``rowfault/season/1``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diagnose.errors import InputError, Place, Problem
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.observations.entries import Event
from diagnose.observations.state import replay
from diagnose.observations.text import in_words
from diagnose.projection import Projection
from diagnose.reports.case import build_case_report
from diagnose.reports.forms.case import (
    CaseReport,
    NamedCause,
    ProofReport,
)
from diagnose.reports.forms.season import SeasonReport


def build_season_report(
    events: Sequence[Event], knowledge: Knowledge | None = None
) -> SeasonReport:
    """The record of a case's machine.

    Raises `InputError` when the machine is not proven good.

    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.events import Remedied, Run
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> runs = [new_event(Run.of(each, "PPPPPP"), "A") for each in ("bleed", "response")]
    >>> mended = new_event(Remedied("replace-coil", "row-6/valve"), "A")
    >>> build_season_report([first, mended, *runs]).work
    ('replace coil, done: row 6, row valve',)
    """
    knowledge = knowledge or load_knowledge()
    report = build_case_report(events, knowledge)
    proof = _proven(report)
    return SeasonReport(
        case=report.case,
        title=report.title,
        machine=report.machine,
        opened=report.opened,
        last=report.last,
        who=report.who,
        history=report.history,
        runs=report.runs,
        parts_used=report.parts_used,
        proven_at=max(run.at for run in report.runs if run.run in proof.runs),
        work=tuple(_work(Projection(replay(events), knowledge))),
        found=tuple(NamedCause(id=each.id, says=each.says) for each in report.cured),
        proof=proof,
        priors=report.priors,
        cautions=report.cautions,
    )


def _proven(report: CaseReport) -> ProofReport:
    """The proof, which must hold."""
    proof = report.proof
    if proof is not None and proof.holds:
        return proof
    why = proof.says if proof else "its results cannot be ranked"
    raise InputError(
        Problem(
            Place(f"case {report.case}"),
            "a machine that is proven good",
            why,
            "run what is missing and ask again; rowfault report shows where the case stands",
        )
    )


def _work(view: Projection) -> Iterator[str]:
    """What was done to the machine, in order."""
    return (in_words(work, view.machine, view.knowledge) for work in view.state.case.work)
