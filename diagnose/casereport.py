"""Everything that is to be said of one case, as plain data for every face.

The form is ``rowfault/report/1``. Rows carry what each check showed last, parts how likely they
are at fault where they are now, the timeline every event with what of it counts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from typing import Any

from diagnose.advice import DEFERRAL
from diagnose.cases.case import Case, Result, Run
from diagnose.errors import NoAnswer
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.parts import PARKED, Price
from diagnose.machine.graph import Machine
from diagnose.planreport import plan_report
from diagnose.ranking.causes import Cause
from diagnose.ranking.faults import part_in_words
from diagnose.ranking.places import suspicion
from diagnose.report import ranking_report
from diagnose.retest.proof import Proof
from diagnose.story.course import course
from diagnose.story.event import Correction, Event
from diagnose.story.replay import State, Told, replay
from diagnose.story.telling import OUTCOMES, in_words, told_circumstances
from diagnose.story.view import View

SCHEMA = "rowfault/report/1"

CURED = 0.05
"""A cause that a remedy cleared is told when it was this probable."""

PRICES: Mapping[Price, str] = {
    "none": "no part",
    "small": "a small part",
    "medium": "a part of medium price",
    "large": "a dear part",
}

Data = dict[str, Any]


def case_report(events: Sequence[Event], knowledge: Knowledge | None = None) -> Data:
    """The report of a case from its events.

    ``impossible`` says which results cannot stand together or are too many; nothing is ranked
    then. Raises `InputError` when the events do not begin with an opening, `UnknownName` and
    `FileProblems` for a machine that is not there.

    >>> from diagnose.story.event import Checked, Opened, told
    >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> run = told(Checked(check="response", pattern="PPPPPF", circumstances={"oil": 54.0}), "A")
    >>> report = case_report([first, run])
    >>> report["outcome"], report["rows"][5]["mark"], report["causes"][0]["rows"]
    ('open', 'fail', [6])
    """
    knowledge = knowledge or load_knowledge()
    view = View(replay(events), knowledge)
    state, machine = view.state, view.machine
    outcome = state.conclusion.outcome if state.conclusion else "open"
    return {
        "schema": SCHEMA,
        "case": state.id,
        "title": state.title or None,
        "machine": {"id": machine.id, "name": machine.name, "rows": machine.rows},
        "outcome": outcome,
        "outcome_says": OUTCOMES[outcome],
        "owner": state.owner or None,
        "handed_over": _handed_over(state),
        "opened": _when(state.started),
        "last": _when(state.last),
        "minutes": state.elapsed_minutes,
        "who": list(dict.fromkeys(event.who for event in events)),
        "history": list(told_circumstances(state.case.history, knowledge)),
        "layout": layout_of(machine),
        "rows": [_row(state.case, row, knowledge) for row in range(1, machine.rows + 1)],
        "timeline": timeline(state, machine, knowledge),
        "notes": list(state.notes),
        "parts_used": _parts_used(view),
        **_reasoned(view, events),
    }


def _handed_over(state: State) -> Data | None:
    """Who handed the case over last, to whom, why and when."""
    handed = state.handover
    if handed is None:
        return None
    return {
        "by": handed.by,
        "to": handed.to or None,
        "why": handed.why or None,
        "at": _when(handed.at),
    }


def _when(moment: Any) -> str:
    return str(moment.isoformat(timespec="seconds"))


def layout_of(machine: Machine) -> Data:
    """How a machine is plumbed and wired, as far as a drawing needs it.

    >>> from diagnose.machine.graph import load_machine
    >>> layout_of(load_machine("mounted-6"))["ports"][1]
    {'id': 'port-right', 'at': 6, 'rows': [4, 5, 6]}
    """
    above = partial(_place_above, machine)
    return {
        "sections": [
            {
                "id": name,
                "rows": list(rows),
                "feed": "chain" if name in machine.chains else "star",
                "order": list(machine.chains.get(name, rows)),
                "fed_from": above(f"{name}/hose", machine.sections),
            }
            for name, rows in machine.sections.items()
        ],
        "branches": [
            {
                "id": name,
                "rows": list(rows),
                "controller": above(f"{name}/branch", machine.controllers),
            }
            for name, rows in machine.branches.items()
        ],
        "controllers": list(machine.controllers),
        "ports": [
            {"id": name, "at": machine.port_rows[name], "rows": list(rows)}
            for name, rows in machine.ports.items()
        ],
        "extras": [{"id": part, "name": machine.parts[part].name} for part in machine.extras],
    }


def _place_above(machine: Machine, part: str, places: Mapping[str, object]) -> str | None:
    """The place among some that feeds or drives a part directly."""
    above = (each.partition("/")[0] for each in machine.needs[part])
    return next((place for place in sorted(above) if place in places), None)


def _row(case: Case, row: int, knowledge: Knowledge) -> Data:
    """A row with what each check showed last, and one mark for all of it."""
    last = {check: _last(case, row, check) for check in knowledge.checks}
    seen = [result for result in last.values() if result is not None]
    worst = (Result.FAIL, Result.UNSURE, Result.PASS)
    mark = next((result for result in worst if result in seen), Result.NOT_RUN)
    return {
        "row": row,
        "mark": mark.name.lower().replace("_", "-"),
        "checks": {check: result.value if result else "." for check, result in last.items()},
    }


def _last(case: Case, row: int, check: str) -> Result | None:
    """The last pass or fail; unsure only where there is neither."""
    results = [run.results[row - 1] for run in case.runs if run.check == check]
    said = [result for result in results if result in (Result.PASS, Result.FAIL)]
    unsure = [result for result in results if result is Result.UNSURE]
    return next(iter([*said[-1:], *unsure]), None)


def timeline(state: State, machine: Machine, knowledge: Knowledge) -> list[Data]:
    """Every event with what of it counts, and who put it right.

    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.story.event import Checked, Opened, told
    >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> run = told(Checked(check="response", pattern="PPPPPF"), "A")
    >>> state = replay([first, run, told(Correction(event=run.id), "A")])
    >>> for entry in timeline(state, load_machine("mounted-6"), load_knowledge()):
    ...     print(entry["number"], entry["says"], entry["counts"])
    1 opened for mounted-6 True
    2 response check: row 6 failed, 5 of 6 passed False
    3 entry 2 does not count True
    """
    number = {each.event.id: n for n, each in enumerate(state.told, start=1)}
    by_id = {each.event.id: each for each in state.told}
    entries: list[Data] = []
    for told in state.told:
        event = told.event
        by = by_id.get(told.corrected_by)
        entries.append(
            {
                "number": number[event.id],
                "id": event.id,
                "at": _when(event.at),
                "who": event.who,
                "kind": event.what.kind,
                "says": _says(told, number, machine, knowledge) + _place(told, number),
                "question": event.question,
                "counts": told.counts == event.what,
                "corrected": _corrected(told, by.event, number, machine, knowledge) if by else None,
            }
        )
    return entries


def _place(told: Told, number: Mapping[str, int]) -> str:
    """Its place among what others told: the same thing, or done before that."""
    if told.same_as:
        return f" (the same as entry {number[told.same_as]}, counted once)"
    before = [number[id] for id in told.event.before if id in number]
    entries = "entry" if len(before) == 1 else "entries"
    return f" (done before {entries} {', '.join(map(str, before))})" if before else ""


def _says(told: Told, number: Mapping[str, int], machine: Machine, knowledge: Knowledge) -> str:
    what = told.event.what
    if not isinstance(what, Correction):
        return in_words(what, machine, knowledge)
    entry = f"entry {number.get(what.event, '?')}"
    because = f" ({what.reason})" if what.reason else ""
    if what.step == "redo":
        return f"redo: the undo in {entry} is taken back{because}"
    if what.instead is None:
        return f"{'undo: ' if what.step else ''}{entry} does not count{because}"
    return f"{entry} put right: {in_words(what.instead, machine, knowledge)}{because}"


def _corrected(
    told: Told, by: Event, number: Mapping[str, int], machine: Machine, knowledge: Knowledge
) -> Data:
    instead = told.counts
    if instead is None or isinstance(instead, Correction):
        says = None
    else:
        says = in_words(instead, machine, knowledge)
    assert isinstance(by.what, Correction)
    return {
        "by": number[by.id],
        "who": by.who,
        "at": _when(by.at),
        "instead": says,
        "reason": by.what.reason,
    }


def _parts_used(view: View) -> list[Data]:
    parts = view.machine.parts
    return [
        {
            "part": used.part,
            "says": part_in_words(used.part, parts[used.part]),
            "does": parts[used.part].remedy(used.remedy).does,
            "price": used.price,
            "price_says": PRICES[used.price],
        }
        for used in view.parts_used
    ]


def _reasoned(view: View, events: Sequence[Event]) -> Data:
    """What was made of it all: causes, plan, proof, conclusion."""
    path = course(events, view.knowledge)
    over_time = {
        "causes": [{"id": cause, "says": says} for cause, says in path.causes.items()],
        "points": [
            {
                "entry": point.number,
                "chances": [point.chances.get(cause) for cause in path.causes],
            }
            for point in path.points
        ],
    }
    try:
        _ = view.ranking.causes
    except NoAnswer as error:
        return {"impossible": str(error), "over_time": over_time, **_nothing(view)}
    return {"impossible": None, "over_time": over_time, **_ranked(view)}


def _nothing(view: View) -> Data:
    """What is said of a case that cannot be ranked."""
    return {
        "runs": [_run(run, view, None) for run in view.state.case.runs],
        "findings": [],
        "causes": [],
        "cured": [],
        "suspicion": {},
        "together": [],
        "fragile": None,
        "next": None,
        "expected_minutes": None,
        "proof": None,
        "conclusion": _conclusion(view.state, {}),
        "cautions": _cautions(view, ()),
        "priors": view.knowledge.priors,
    }


def _ranked(view: View) -> Data:
    report: Data = ranking_report(view.ranking, tests=0)
    causes = {cause.id: cause for cause in view.ranking.causes}
    planned = _planned(view)
    warned = [*report["cautions"], *_act_cautions(planned["next"])]
    return {
        "runs": [
            _run(run, view, told)
            for run, told in zip(view.state.case.runs, report["runs"], strict=True)
        ],
        "findings": report["findings"],
        "causes": report["causes"],
        "cured": [_cured(cause) for cause in _were_there(causes.values())],
        "suspicion": dict(suspicion(view.ranking)),
        "together": report["together"],
        "fragile": report["fragile"],
        **planned,
        "proof": _proof(view),
        "conclusion": _conclusion(view.state, causes),
        "cautions": _cautions(view, warned),
        "priors": report["priors"],
    }


def _run(run: Run, view: View, told: Data | None) -> Data:
    """A run that counts, as the ranking took it."""
    event = view.state.run_events[run.index - 1]
    entry = next(n for n, each in enumerate(view.state.told, 1) if each.event.id == event)
    by = view.state.told[entry - 1].event
    return {
        "run": run.index,
        "entry": entry,
        "at": _when(by.at),
        "who": by.who,
        "check": run.check,
        "pattern": run.pattern,
        "circumstances": list(told_circumstances(run.circumstances, view.knowledge)),
        "after_work": run.epoch,
        "standing": told["standing"] if told else None,
        "why": told["why"] if told else [],
    }


def _were_there(causes: Any) -> Iterator[Cause]:
    found = (cause for cause in causes if cause.cured >= CURED)
    return iter(sorted(found, key=lambda cause: -cause.cured))


def _cured(cause: Cause) -> Data:
    """A cause that was there until a remedy cleared it."""
    return {
        "id": cause.id,
        "says": cause.says,
        "rows": list(cause.rows),
        "probability": cause.cured,
        "left": cause.probability,
    }


def _planned(view: View) -> Data:
    """What to do next while the case is open."""
    if not view.state.open:
        return {"next": None, "expected_minutes": None}
    try:
        plan = plan_report(view.plan())
    except NoAnswer as error:
        return {"next": {"says": str(error), "acts": []}, "expected_minutes": None}
    return {"next": plan["tree"], "expected_minutes": plan["expected_minutes"]}


def _act_cautions(tree: Data | None) -> list[str]:
    acts = [] if tree is None else [tree["act"]] if "act" in tree else tree["acts"]
    return [caution for act in acts for caution in act["cautions"]]


def _proof(view: View) -> Data:
    """Whether the machine is proven good, and the full runs that say so."""
    proof = Proof(view.ranking)
    proving = (proof.proving_run(check) for check in view.knowledge.checks)
    runs = [run.index for run in proving if run is not None]
    return {"holds": proof.holds, "says": proof.says, "runs": runs}


def _conclusion(state: State, causes: Mapping[str, Cause]) -> Data | None:
    ended = state.conclusion
    if ended is None:
        return None
    found = [causes.get(cause) for cause in ended.causes]
    return {
        "outcome": ended.outcome,
        "outcome_says": OUTCOMES[ended.outcome],
        "causes": [
            {
                "id": cause,
                "says": known.says if known else cause,
                "was_there": max(known.cured, known.probability) if known else None,
            }
            for cause, known in zip(ended.causes, found, strict=True)
        ],
        "says": ended.says,
    }


def _cautions(view: View, warned: Sequence[str]) -> list[str]:
    """What to beware of: as it was found, that of the checks, and who comes first."""
    checks = (caution for check in view.knowledge.checks.values() for caution in check.cautions)
    parked = f"Before anything is opened: {view.knowledge.setups[PARKED].says}"
    return list(dict.fromkeys([*warned, *checks, parked, DEFERRAL]))
