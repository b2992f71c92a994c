"""Questions about a run: how it is made ready, how it was made, and what each row showed."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.model import Model
from diagnose.errors import quoted
from diagnose.formats.rowranges import read_rows
from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.circumstances import Circumstance, CircumstanceState, Prepare
from diagnose.observations.case import Case
from diagnose.observations.entries import Statement
from diagnose.observations.events import Circumstances, History, Remedied, Run, Swapped
from diagnose.observations.pattern import RESULT_LETTERS
from diagnose.observations.result import Result
from diagnose.observations.rows import rows_in_words
from diagnose.observations.state import CaseState as Story
from diagnose.observations.typed import parse_word
from diagnose.observations.values import circumstance_value, told_apart
from diagnose.planner.candidates import Candidate, rerun
from diagnose.projection import Projection
from diagnose.rules.conclude import conclude_case
from diagnose.session.answers import Question
from diagnose.session.session import Session

_EXAMPLES = {"temperature": "54C", "pressure": "62bar"}
OTHERWISE = {"temperature": "54C or 129F", "pressure": "62bar or 900psi"}

UNKNOWN = "?"

_Wanted = Sequence[tuple[Circumstance, CircumstanceState]]
"""Circumstances that are a choice, with the state that a run wants."""


def run_question(job: Session, check: str, rows: Sequence[int], planned: bool = False) -> Question:
    """What is asked about a run that is to be made: the first of three things that is open.

    A run that is ``planned`` can be skipped; one that proves work or the whole machine cannot.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> state = replay([new_event(Opened(case="20260301-a", machine="mounted-6"), "A")])
    >>> session = Session(Projection(state, load_knowledge()), state.last)
    >>> run_question(session, "response", (6,)).asks
    'Is it so: bleed hose stowed, engine running, standing still? Oil temperature? Supply pressure?'
    """
    act = rerun(job.view.ranking.evidence, check, rows, ())
    asked = to_ask(job.view, check, job.now)
    if asked:
        return _circumstances(job.view, check, act, asked)
    open_ = {
        name: state
        for name, state in bad(job.view, check).items()
        if job.accepted.get(name) != job.view.state.circumstances[name]
    }
    if open_:
        return _put_right(job.view, check, open_)
    return _rows(job.view, act, planned)


def _rows(view: Projection, act: Candidate, planned: bool) -> Question:
    """Which rows failed."""
    rows, check, count = act.rows, act.check, view.machine.rows
    made = view.knowledge.checks[check]

    def read(text: str) -> Sequence[Statement]:
        pattern = read_failed(text, rows, count)
        known = {
            each.id: view.state.circumstances[each.id]
            for each in view.knowledge.of_scope("run").values()
            if each.id in view.state.circumstances
        }
        return [Run.of(check, pattern, known)]

    return Question(
        asks=_who_failed(check, rows),
        form=ONE_ROW if len(rows) == 1 else FORM,
        read=read,
        says=f"Run the {check} check on {rows_in_words(rows)}.",
        cautions=made.cautions,
        minutes=made.set_up_minutes + made.minutes_per_row * len(rows),
        act=act if planned else None,
    )


def _who_failed(check: str, rows: Sequence[int]) -> str:
    named = rows_in_words(rows)
    one = len(rows) == 1
    return (
        f"Did {named} FAIL the {check} check?"
        if one
        else f"Which of {named} FAILED the {check} check?"
    )


def _circumstances(
    view: Projection, check: str, act: Candidate, asked: Sequence[Circumstance]
) -> Question:
    """How the machine stands for a run, in one question."""
    numbers = [each for each in asked if each.value in _EXAMPLES]
    choices = [(each, each.good_state(check)) for each in asked if each.value == "choice"]
    so = ", ".join(_so(each, state) for each, state in choices)
    pieces = [f"Is it so: {so}?"] if so else []
    pieces += [f"{each.name[:1].upper()}{each.name[1:]}?" for each in numbers]
    forms = [OTHERWISE[each.value] for each in numbers] or ["yes"]
    differs = f"; add what differs, such as {_differing(choices)}" if choices else ""
    prepared = _prepared(view, bad(view, check))
    return Question(
        asks=" ".join(pieces),
        form=f"{', '.join(forms)}{differs}; ? not known",
        read=lambda text: [Circumstances(_read(view, text, numbers, choices))],
        says=" ".join(
            [
                f"Make ready for the {check} check on {rows_in_words(act.rows)}.",
                *(each.does for each in prepared),
            ]
        ),
        because=tuple(_as_before(view, check, asked)),
        words=True,
        needs=act.needs,
        cautions=tuple(
            dict.fromkeys(
                [
                    *(caution for each in prepared for caution in each.cautions),
                    *view.knowledge.setups[act.setup].cautions,
                ]
            )
        ),
    )


def _so(circumstance: Circumstance, state: CircumstanceState) -> str:
    """The state of a circumstance as somebody would say it."""
    return state.name if " " in state.name else f"{circumstance.name} {state.name}"


def _prepared(view: Projection, found: Mapping[str, CircumstanceState]) -> list[Prepare]:
    """How to put right what is known to be bad."""
    ways = (view.knowledge.circumstances[name].prepare for name in found)
    return [way for way in ways if way is not None]


def _differing(choices: _Wanted) -> str:
    kind, good = choices[0]
    other = next(choice for choice in kind.choices if choice != good.id)
    return f"{kind.id}={other}"


def _as_before(view: Projection, check: str, asked: Sequence[Circumstance]) -> list[str]:
    """What stays as it was told."""
    kept = [each for each in wanted(view, check) if each not in asked]
    said = view.state.circumstances
    told = [f"{each.name} {told_apart(each, said[each.id])[0]}" for each in kept if each.id in said]
    return [f"as before: {', '.join(told)}"] if told else []


def _read(
    view: Projection,
    text: str,
    numbers: Sequence[Circumstance],
    choices: _Wanted,
) -> dict[str, float | str | None]:
    """The circumstances that an answer tells; what it leaves out is not known, or as wanted."""
    words = text.replace(",", " ").split()
    if UNKNOWN in words:
        return dict.fromkeys(each.id for each in (*numbers, *(kind for kind, _ in choices)))
    values: dict[str, float | str | None] = dict.fromkeys(each.id for each in numbers)
    values |= {each.id: state.id for each, state in choices}
    for word in words:
        if word.lower() in ("yes", "y"):
            continue
        if word.lower() in ("no", "n"):
            what = _differing(choices) if choices else "a number with its unit"
            raise Wrong(
                got=quoted(word), expected="what differs", remedy=f"write for example {what}"
            )
        name, value = _value(view, word, numbers)
        values[name] = value
    return values


def _value(view: Projection, word: str, numbers: Sequence[Circumstance]) -> tuple[str, float | str]:
    """A circumstance by its word, or by the unit of a number, though it was not asked for."""
    if "=" in word:
        event = parse_word(view.machine, word, view.knowledge)
        if not isinstance(event, Circumstances | History):
            raise Wrong(got=quoted(word), expected="a circumstance such as oil=54C")
        [(name, value)] = event.values.items()
        assert value is not None
        return name, value
    every = [each for each in view.knowledge.of_scope("run").values() if each.value in _EXAMPLES]
    last = Wrong("yes, or what differs", quoted(word), "write for example engine=off")
    for each in sorted(every, key=lambda kind: kind not in numbers):
        try:
            return each.id, circumstance_value(each, word)
        except Wrong as wrong:
            if wrong.expected.startswith(each.name):
                raise
            last = wrong if each in numbers else last
    raise last


def _put_right(view: Projection, check: str, found: Mapping[str, CircumstanceState]) -> Question:
    """What is bad for a run, how it is put right, and whether to run all the same."""
    kinds = [view.knowledge.circumstances[name] for name in found]
    prepared = _prepared(view, found)
    said = view.state.circumstances
    because = tuple(
        f"{each.name}: {told_apart(each, said[each.id])[0]}, {found[each.id].name}"
        for each in kinds
    )
    examples = [f"{each.id}={_better(each, check)}" for each in kinds]

    def read(text: str) -> Sequence[Statement]:
        numbers = [each for each in kinds if each.value in _EXAMPLES]
        words = text.replace(",", " ").split()
        values = dict(_value(view, word, numbers) for word in words)
        if not values:
            raise Wrong(f"how it is now, such as {examples[0]}, or anyway", quoted(text))
        return [Circumstances(values)]

    return Question(
        asks="How is it now?",
        form=f"{' '.join(examples)} once it is put right, or anyway to run it as it is",
        read=read,
        says=f"A {check} check would tell little now. " + " ".join(each.does for each in prepared),
        because=because,
        cautions=tuple(caution for each in prepared for caution in each.cautions),
        minutes=sum(view.knowledge.prepare_minutes(each) for each in prepared),
        check=check,
        words=True,
    )


def _better(circumstance: Circumstance, check: str) -> str:
    return _EXAMPLES.get(circumstance.value) or circumstance.good_state(check).id


def accepting(job: Session, check: str) -> Session:
    """The job in which a run is made under circumstances that are bad as they are.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> said = new_event(Circumstances({"engine": "off", "oil": 54.0}), "A")
    >>> state = replay([opening, said])
    >>> accepting(Session(Projection(state, load_knowledge()), state.last), "response").accepted
    {'engine': 'off'}
    """
    said = job.view.state.circumstances
    return replace(job, accepted={**job.accepted, **{n: said[n] for n in bad(job.view, check)}})


FORM = "failed rows (6 or 5,13-16), none, all, 6? for unsure, ? for all unsure, or a letter a row"

ONE_ROW = "yes, no, or ? for unsure"
YES_OR_NO = {"yes": "all", "y": "all", "no": "none", "n": "none"}

LETTERS_ONLY = re.compile(r"[PFGRUpfgru?.\s_]{2,}")


def read_failed(text: str, run: Sequence[int], rows: int) -> str:
    """The pattern of a run over the rows ``run`` of a machine of ``rows``, from who failed.

    Raises `Wrong`.

    >>> read_failed("6", (5, 6, 7), 8), read_failed("none", (5, 6), 8), read_failed("all", (1,), 3)
    ('....PFP.', '....PP..', 'F..')
    >>> read_failed("no", (2,), 3)
    '.P.'
    >>> read_failed("1, 3?", (1, 2, 3), 3), read_failed("PFP", (5, 6, 7), 8)
    ('FP?', '....PFP.')
    """
    said = text.strip().lower()
    if len(run) == 1 and said in YES_OR_NO:
        said = YES_OR_NO[said]
    if said in ("none", "all", "?"):
        letter = {"none": "P", "all": "F", "?": "?"}[said]
        marks = dict.fromkeys(run, letter)
    elif LETTERS_ONLY.fullmatch(said) and not said.isdigit():
        return _letters(said, run, rows)
    else:
        marks = _ranges(said, run, rows)
    return "".join(marks.get(row, ".") for row in range(1, rows + 1))


def _ranges(said: str, run: Sequence[int], rows: int) -> dict[int, str]:
    marks = dict.fromkeys(run, "P")
    for piece in filter(None, (each.strip() for each in re.split(r"[,;\s]+", said))):
        unsure = piece.endswith("?")
        try:
            named = read_rows(piece.rstrip("?"), rows)
        except Wrong as wrong:
            raise Wrong(f"{wrong.expected}, or none, or all", quoted(said), FORM) from wrong
        outside = [row for row in named if row not in run]
        if outside:
            got = rows_in_words(outside)
            raise Wrong(f"some of {rows_in_words(run)}, which ran", got, "name only rows that ran")
        marks.update(dict.fromkeys(named, "?" if unsure else "F"))
    return marks


def _letters(said: str, run: Sequence[int], rows: int) -> str:
    """A letter for each row of the machine, or for each row that ran."""
    letters = "".join(RESULT_LETTERS[each].value for each in re.sub(r"[\s_]", "", said).upper())
    if len(letters) == rows:
        if set(letters) == {Result.NOT_RUN.value}:
            raise Wrong(got=quoted(said), expected="a row that ran", remedy=FORM)
        return letters
    if len(letters) == len(run) and "." not in letters:
        marks = dict(zip(run, letters, strict=True))
        return "".join(marks.get(row, ".") for row in range(1, rows + 1))
    raise Wrong(f"{len(run)} or {rows} letters", str(len(letters)), FORM)


STALE = timedelta(minutes=30)
"""A temperature or pressure is asked for again after so long (judgement: oil cools)."""


def wanted(view: Projection, check: str) -> tuple[Circumstance, ...]:
    """The circumstances that can spoil a check and that somebody can see to.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> view = Projection(replay([opening]), load_knowledge())
    >>> [each.id for each in wanted(view, "bleed")]
    ['bleed-hose', 'engine', 'moving', 'oil', 'supply']
    """
    known = view.knowledge.of_scope("run").values()
    return tuple(
        each
        for each in known
        if each.value != "none" and any(state.shows.get(check) for state in each.states)
    )


def to_ask(view: Projection, check: str, now: datetime) -> tuple[Circumstance, ...]:
    """Those that were never told for such a run, or are stale, or turned with the set-up.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> said = new_event(Circumstances({"engine": "on", "oil": 54.0}), "A", opening.at)
    >>> view = Projection(replay([opening, said]), load_knowledge())
    >>> for at in (opening.at, opening.at + 2 * STALE):
    ...     print(*(each.id for each in to_ask(view, "bleed", at)))
    bleed-hose moving supply
    bleed-hose moving oil supply
    """
    said = _said(view.state, check)
    return tuple(each for each in wanted(view, check) if not _fresh(each, said, now))


def _fresh(circumstance: Circumstance, said: Mapping[str, datetime], now: datetime) -> bool:
    at = said.get(circumstance.id)
    return at is not None and (circumstance.value == "choice" or now - at <= STALE)


def _said(state: Story, check: str) -> dict[str, datetime]:
    """When each circumstance was told last, since the set-up for this check was begun.

    A run of another check and work on the machine turn what has to do with the set-up; oil stays
    as warm as it was.
    """
    said: dict[str, datetime] = {}
    for each in state.done:
        what, at = each.counts, each.event.at
        if isinstance(what, Run):
            if what.check != check:
                said = {name: when for name, when in said.items() if name == "oil"}
            said.update(dict.fromkeys(what.circumstances, at) if what.check == check else {})
        elif isinstance(what, Circumstances):
            said.update(dict.fromkeys(what.values, at))
        elif isinstance(what, Remedied | Swapped):
            said = {name: when for name, when in said.items() if name == "oil"}
    return said


def bad(view: Projection, check: str) -> Mapping[str, CircumstanceState]:
    """The bad states, by circumstance, that a run of a check would have now.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> said = new_event(Circumstances({"engine": "off", "oil": 54.0}), "A")
    >>> found = bad(Projection(replay([opening, said]), load_knowledge()), "bleed")
    >>> [(name, state.name) for name, state in found.items()]
    [('engine', 'not running')]
    """
    run = Run(0, check, (Result.UNSURE,) * view.machine.rows, dict(view.state.circumstances))
    case = Case(view.machine.id, history=view.state.case.history).then(run)
    findings = conclude_case(view.machine, case, view.knowledge)
    evidence = Evidence(Model(view.machine, view.knowledge), case, findings)
    return evidence.known_bad(case.runs[0])
