"""What to ask next about a case: the plan's next act, or how the case ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.errors import quoted
from diagnose.formats.rowranges import read_rows
from diagnose.formats.value_problem import Wrong
from diagnose.observations.entries import Answered, Concluded, Statement
from diagnose.observations.events import History, Reading, Work
from diagnose.observations.values import DONE, YES_NO, circumstance_value, reading_value
from diagnose.planner.advice import advice, cautions_of
from diagnose.planner.candidates import Candidate
from diagnose.planner.contingent_plan import PlanStep
from diagnose.session.answers import AnswerReader, Question
from diagnose.session.prompt_commands import named, to_whom, why_to
from diagnose.session.runs import run_question
from diagnose.session.session import Session

_WORTH_SAYING = 0.05
"""Outcomes at least so probable are told beforehand."""

WAS_THERE = 0.02
"""A cause that was there with this chance, until a remedy, may be what the case was about."""

_MOST_CAUSES = 5

UNIT_EXAMPLES = {
    "ohm": "7.4ohm",
    "V": "11.8V",
    "bar": "62bar",
    "code": "5, or none",
    "choice": "yes or no",
}


_Asked = tuple[str, str, AnswerReader]
"""A question, the form of its answer, and the reader of it."""


def next_question(job: Session) -> Question:
    """What is asked now. Raises `ImpossibleEvidence` when results cannot stand together.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> from diagnose.projection import Projection
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> state = replay([opening, new_event(Concluded(outcome="given-up", says="it rains"), "A")])
    >>> question = next_question(Session(Projection(state, load_knowledge()), state.last))
    >>> question.over, question.says
    (True, 'it rains')
    """
    if not job.view.state.open:
        return _over(job)
    if job.to_check is not None:
        return run_question(job, *job.to_check)
    act = job.plan.act
    if act is None:
        return _conclusion(job) if job.proof.holds else _hand_over(job)
    if act.kind == "rerun":
        choice = job.plan.choice
        planned = choice is not None and not choice.required
        question = run_question(job, act.check, act.rows, planned)
        return replace(question, because=_reasons(job)) if question.act is not None else question
    return _about(job, act)


def _about(job: Session, act: Candidate) -> Question:
    """A measurement, a look, a question, a swap or a remedy."""
    asks, form, reader = _asked(job, act)
    ranking = job.view.ranking
    return Question(
        asks=asks,
        form=form,
        read=reader,
        says=act.says.partition("; then ")[0],
        because=_reasons(job),
        needs=act.needs,
        cautions=tuple(cautions_of(act, advice(ranking, (), [act]))),
        minutes=act.minutes,
        act=act,
    )


def _reasons(job: Session) -> tuple[str, ...]:
    return tuple(f"{100 * chance:.0f} %: {says}" for chance, says in expected(job))


def expected(job: Session) -> list[tuple[float, str]]:
    """What the next act may show, with its chance, and what would be likeliest then."""
    tree = job.plan.tree
    if not isinstance(tree, PlanStep):
        return []
    told = []
    for branch in tree.branches:
        leading = getattr(branch.then, "leading", None)
        then = f", then likeliest {leading.says}" if leading is not None else ""
        if branch.probability >= _WORTH_SAYING:
            told.append((branch.probability, f"{branch.result.rstrip('.')}{then}"))
    return sorted(told, key=lambda each: -each[0])


def _asked(job: Session, act: Candidate) -> _Asked:
    """The question, the form of its answer and the reader of it, by sort of act."""
    if act.kind == "ask":
        return _answer(job, act)
    if act.work is not None:
        work = act.work
        return "Done?", f"{DONE}, or skip and why not", lambda text: [_work(work, text)]
    name = act.id.partition("@")[0]
    measurement = job.view.machine.parts[act.part].measurement(name)

    def read(text: str) -> Sequence[Statement]:
        value = reading_value(measurement, text)
        return [Reading(name, act.part, value)]

    if measurement.unit == "choice":
        found = measurement.results[0].says.rstrip(".")
        return f"Seen: {found}?", " or ".join(YES_NO), read
    return "What does it read?", f"for example {UNIT_EXAMPLES[measurement.unit]}", read


def _work(work: Work, text: str) -> Statement:
    if text.strip().lower() not in (DONE, "yes", "y"):
        raise Wrong(DONE, quoted(text), "write done once it is done, or skip")
    return work


def _answer(job: Session, act: Candidate) -> _Asked:
    """A question about an earlier run's circumstance, or about the machine's past."""
    name, _, run = act.id.removeprefix("ask:").partition("@")
    asked = job.view.knowledge.circumstances[name]

    def read(text: str) -> Sequence[Statement]:
        value = circumstance_value(asked, text)
        if not run:
            return [History({name: str(value)})]
        event = job.view.state.run_events[int(run) - 1]
        return [Answered(run=event, circumstance=name, value=value)]

    form = " or ".join(asked.choices) or {"temperature": "54C"}.get(asked.value, "180bar")
    return "What is the answer?", f"{form}; skip when nobody knows", read


def _conclusion(job: Session) -> Question:
    """Proven good: what it was."""
    causes = likely_causes(job.view.ranking)
    offers = tuple(f"{n}: {cause.says} ({_share(cause)})" for n, cause in enumerate(causes, 1))

    def read(text: str) -> Sequence[Statement]:
        chosen = _chosen(text.strip() or ("1" if causes else "none"), causes)
        says = job.proof.says
        return [Concluded(outcome="proven", causes=tuple(chosen), says=says)]

    return Question(
        asks="What was it?",
        form="the number, several (1,2), none, or a cause's id",
        read=read,
        says=f"{job.proof.says[:1].upper()}{job.proof.says[1:]}.",
        because=offers,
        kept="1" if causes else "none",
    )


def likely_causes(ranking: Ranking) -> list[Cause]:
    """What may have been there until somebody put it right, most likely first.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.api import rank
    >>> machine, known = load_machine("mounted-6"), load_knowledge(learned=False)
    >>> told = ["response=PPPPPF", "replace-coil@row-6=done", "response=PPPPPP"]
    >>> [cause.id for cause in likely_causes(rank(machine, read_typed(machine, told), known))]
    ['row-6/valve:coil_shorted', 'row-6/valve:coil_open']
    """
    there = [cause for cause in ranking.causes if cause.cured >= WAS_THERE]
    return sorted(there, key=lambda cause: -cause.cured)[:_MOST_CAUSES]


def _share(cause: Cause) -> str:
    return f"{100 * cause.cured:.0f} %"


def _chosen(text: str, causes: Sequence[Cause]) -> list[str]:
    """Ids of causes by their numbers in the offer, or as they stand."""
    if text.lower() == "none":
        return []
    if ":" in text:
        return [each.strip() for each in text.split(",")]
    if not causes:
        raise Wrong(
            got=quoted(text), expected="none, or a cause's id such as row-6/valve:coil_open"
        )
    return [causes[number - 1].id for number in read_rows(text, len(causes))]


def _hand_over(job: Session) -> Question:
    """Nothing that is worth its minutes can be done here."""
    choice = job.plan.choice
    because = choice.says if choice is not None else job.proof.says
    return replace(
        to_whom(),
        asks="Hand the case over: to whom?",
        form="a name, or else and what was done",
        says=f"Hand over: {because}.",
        leads_to=lambda text: why_to(named(text), because),
    )


def _over(job: Session) -> Question:
    ended = job.view.state.conclusion
    assert ended is not None
    return Question("", "", lambda _: [], says=ended.says or ended.outcome, over=True)
