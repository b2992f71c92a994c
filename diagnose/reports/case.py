"""All that is to be said of one case as a report, and the record of a proven machine."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from diagnose.diagnosis.causes import Cause
from diagnose.diagnosis.places import suspicion
from diagnose.errors import InputError, NoAnswer, Place, Problem
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.parts import PARKED, Price, part_in_words
from diagnose.observations.case import Case
from diagnose.observations.entries import Event
from diagnose.observations.events import Run
from diagnose.observations.result import Result
from diagnose.observations.state import CaseState, replay
from diagnose.observations.text import OUTCOMES, circumstances_in_words, in_words
from diagnose.planner.advice import DEFERRAL
from diagnose.planner.verification import Proof
from diagnose.projection import Projection, posterior_timeline
from diagnose.record import record
from diagnose.reports.forms.case import (
    CaseReport,
    ConcludedCause,
    ConclusionReport,
    CountedRun,
    CuredReport,
    HandoverReport,
    MachineReport,
    Mark,
    NamedCause,
    NotPlanned,
    OverTime,
    PartUsed,
    PointReport,
    ProofReport,
    RowReport,
    SeasonReport,
)
from diagnose.reports.forms.ranking import (
    EndReport,
    ExpectedMinutes,
    RankingReport,
    RunReport,
    StepReport,
)
from diagnose.reports.layout import layout_of
from diagnose.reports.plan import acts_in, build_plan_report
from diagnose.reports.ranking import build_ranking_report
from diagnose.reports.story import iso, timeline_of

CURED = 0.05
"""A cause that a remedy cleared is told when it was this probable."""

PRICES: Mapping[Price, str] = {
    "none": "no part",
    "small": "a small part",
    "medium": "a part of medium price",
    "large": "a dear part",
}


MARKS: Mapping[Result, Mark] = {
    Result.FAIL: "fail",
    Result.UNSURE: "unsure",
    Result.PASS: "pass",
}
"""What one row shows, all its checks together; the worst comes first."""


@record
class _Ranked:
    """What was made of a case that can be ranked."""

    report: RankingReport
    causes: Mapping[str, Cause]
    suspicion: Mapping[str, float]
    proof: ProofReport


def build_case_report(events: Sequence[Event], knowledge: Knowledge | None = None) -> CaseReport:
    """The report of a case from its events.

    Raises `InputError` when the events do not begin with an opening, `UnknownName` and
    `FileProblems` for a machine that is not there.

    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.events import Run
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> run = new_event(Run.of("response", "PPPPPF", {"oil": 54.0}), "A")
    >>> report = build_case_report([first, run])
    >>> report.outcome, report.rows[5].mark, report.causes[0].rows
    ('open', 'fail', (6,))
    """
    knowledge = knowledge or load_knowledge()
    view = Projection(replay(events), knowledge)
    state, machine = view.state, view.machine
    outcome = state.conclusion.outcome if state.conclusion else "open"
    over_time = _over_time(view, events)
    found = _ranked(view)
    ranked = None if isinstance(found, NoAnswer) else found
    then, expected = _planned(view) if ranked else (None, None)
    warned = [*ranked.report.cautions, *_act_cautions(then)] if ranked else []
    return CaseReport(
        case=state.id,
        title=state.title or None,
        machine=MachineReport(id=machine.id, name=machine.name, rows=machine.rows),
        outcome=outcome,
        outcome_says=OUTCOMES[outcome],
        owner=state.owner or None,
        handed_over=_handed_over(state),
        opened=iso(state.started),
        last=iso(state.last),
        minutes=state.elapsed_minutes,
        who=tuple(dict.fromkeys(event.who for event in events)),
        history=tuple(circumstances_in_words(state.case.history, knowledge)),
        layout=layout_of(machine),
        rows=tuple(_row(state.case, row, knowledge) for row in range(1, machine.rows + 1)),
        timeline=timeline_of(state, machine, knowledge),
        notes=tuple(state.notes),
        parts_used=tuple(_parts_used(view)),
        impossible=str(found) if isinstance(found, NoAnswer) else None,
        over_time=over_time,
        runs=tuple(_runs(view, ranked.report.runs if ranked else ())),
        findings=ranked.report.findings if ranked else (),
        causes=ranked.report.causes if ranked else (),
        cured=tuple(_cured(ranked.causes.values())) if ranked else (),
        suspicion=ranked.suspicion if ranked else {},
        together=ranked.report.together if ranked else (),
        fragile=ranked.report.fragile if ranked else None,
        next=then,
        expected_minutes=expected,
        proof=ranked.proof if ranked else None,
        conclusion=_conclusion(state, ranked.causes if ranked else {}),
        cautions=_cautions(view, warned),
        priors=knowledge.priors,
    )


def case_report(events: Sequence[Event], knowledge: Knowledge | None = None) -> dict[str, Any]:
    """The same as plain data, in the form ``rowfault/report/1``, for scripts."""
    return build_case_report(events, knowledge).plain()


def _handed_over(state: CaseState) -> HandoverReport | None:
    handed = state.handover
    if handed is None:
        return None
    to, why = handed.to or None, handed.why or None
    return HandoverReport(by=handed.by, to=to, why=why, at=iso(handed.at))


def _row(case: Case, row: int, knowledge: Knowledge) -> RowReport:
    """A row with what each check showed last, and one mark for all of it."""
    last = {check: _last(case, row, check) for check in knowledge.checks}
    seen = [says for result, says in MARKS.items() if result in last.values()]
    mark: Mark = seen[0] if seen else "not-run"
    checks = {check: result.value if result else "." for check, result in last.items()}
    return RowReport(row=row, mark=mark, checks=checks)


def _last(case: Case, row: int, check: str) -> Result | None:
    """The last pass or fail; unsure only where there is neither."""
    results = [run.results[row - 1] for run in case.runs if run.check == check]
    said = [result for result in results if result in (Result.PASS, Result.FAIL)]
    unsure = [result for result in results if result is Result.UNSURE]
    return next(iter([*said[-1:], *unsure]), None)


def _parts_used(view: Projection) -> Iterator[PartUsed]:
    parts = view.machine.parts
    for used in view.parts_used:
        yield PartUsed(
            part=used.part,
            says=part_in_words(used.part, parts[used.part]),
            does=parts[used.part].remedy(used.remedy).does,
            price=used.price,
            price_says=PRICES[used.price],
        )


def _over_time(view: Projection, events: Sequence[Event]) -> OverTime:
    path = posterior_timeline(events, view)
    return OverTime(
        causes=tuple(NamedCause(id=cause, says=says) for cause, says in path.causes.items()),
        points=tuple(
            PointReport(entry=point.number, chances=tuple(map(point.chances.get, path.causes)))
            for point in path.points
        ),
    )


def _ranked(view: Projection) -> _Ranked | NoAnswer:
    """What was made of a case; the error that says so when it cannot be ranked."""
    try:
        causes = view.ranking.causes
    except NoAnswer as error:
        return error
    report = build_ranking_report(view.ranking, tests=0)
    by_id = {cause.id: cause for cause in causes}
    return _Ranked(report, by_id, dict(suspicion(view.ranking)), _proof(view))


def _runs(view: Projection, told: Sequence[RunReport]) -> Iterator[CountedRun]:
    """The runs that count, as the ranking took them."""
    for number, run in enumerate(view.state.case.runs):
        yield _run(run, view, told[number] if told else None)


def _run(run: Run, view: Projection, told: RunReport | None) -> CountedRun:
    event = view.state.run_events[run.index - 1]
    entry = next(n for n, each in enumerate(view.state.told, 1) if each.event.id == event)
    by = view.state.told[entry - 1].event
    return CountedRun(
        run=run.index,
        entry=entry,
        at=iso(by.at),
        who=by.who,
        check=run.check,
        pattern=run.pattern,
        circumstances=tuple(circumstances_in_words(run.circumstances, view.knowledge)),
        after_work=run.epoch,
        standing=told.standing if told else None,
        why=told.why if told else (),
    )


def _cured(causes: Iterable[Cause]) -> Iterator[CuredReport]:
    """The causes that were there until a remedy cleared them, the likeliest first."""
    found = (cause for cause in causes if cause.cured >= CURED)
    for cause in sorted(found, key=lambda cause: -cause.cured):
        yield CuredReport(
            id=cause.id,
            says=cause.says,
            rows=cause.rows,
            probability=cause.cured,
            left=cause.probability,
        )


def _planned(
    view: Projection,
) -> tuple[StepReport | EndReport | NotPlanned | None, ExpectedMinutes | None]:
    """What to do next while the case is open."""
    if not view.state.open:
        return None, None
    try:
        plan = build_plan_report(view.plan())
    except NoAnswer as error:
        return NotPlanned(says=str(error)), None
    return plan.tree, plan.expected_minutes


def _act_cautions(then: StepReport | EndReport | NotPlanned | None) -> list[str]:
    if then is None or isinstance(then, NotPlanned):
        return []
    return [caution for act in acts_in(then) for caution in act.cautions]


def _proof(view: Projection) -> ProofReport:
    """Whether the machine is proven good, and the full runs that say so."""
    proof = Proof(view.ranking)
    proving = (proof.proving_run(check) for check in view.knowledge.checks)
    runs = tuple(run.index for run in proving if run is not None)
    return ProofReport(holds=proof.holds, says=proof.says, runs=runs)


def _conclusion(state: CaseState, causes: Mapping[str, Cause]) -> ConclusionReport | None:
    ended = state.conclusion
    if ended is None:
        return None
    return ConclusionReport(
        outcome=ended.outcome,
        outcome_says=OUTCOMES[ended.outcome],
        causes=tuple(_concluded(cause, causes.get(cause)) for cause in ended.causes),
        says=ended.says,
    )


def _concluded(id: str, known: Cause | None) -> ConcludedCause:
    was_there = max(known.cured, known.probability) if known else None
    return ConcludedCause(id=id, says=known.says if known else id, was_there=was_there)


def _cautions(view: Projection, warned: Sequence[str]) -> tuple[str, ...]:
    """What to beware of: as it was found, that of the checks, and who comes first."""
    checks = (caution for check in view.knowledge.checks.values() for caution in check.cautions)
    parked = f"Before anything is opened: {view.knowledge.setups[PARKED].says}"
    return tuple(dict.fromkeys([*warned, *checks, parked, DEFERRAL]))


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
