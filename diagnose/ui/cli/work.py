"""``rowfault work``: a case worked step by step beside the planter."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

import click
from pydantic import ValidationError

from diagnose.errors import (
    CaseClosed,
    NoAnswer,
    Overtaken,
    Place,
    Problem,
    RowfaultError,
    Unavailable,
    quoted,
)
from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import layout_text, load_machine
from diagnose.observations.entries import (
    Event,
    HandedOver,
    Noted,
    Opened,
    Reopened,
    What,
    new_case_id,
    new_event,
)
from diagnose.observations.forms import spoken
from diagnose.observations.state import replay
from diagnose.observations.typed import parse_statements
from diagnose.observations.validation import Validation
from diagnose.planner.advice import DEFERRAL
from diagnose.projection import Projection
from diagnose.record import record
from diagnose.session.answers import Question, answered
from diagnose.session.overtaken import keep
from diagnose.session.prompt_commands import (
    SAYINGS,
    SHOWN,
    accepted,
    leads_to,
    said_in,
    statements_of,
)
from diagnose.session.scratch import Keeper, Scratch
from diagnose.session.session import Session
from diagnose.session.steps import next_question
from diagnose.ui.cli.completion import suggest_cases, suggest_machines
from diagnose.ui.cli.options import NAME_OR_PATH, READABLE, WORDS, colour_option
from diagnose.ui.cli.who import opened_casebook, person
from diagnose.ui.lazy import Command
from diagnose.ui.streams import started
from diagnose.ui.terminal.asking import Asker, asker, unattended
from diagnose.ui.terminal.bench import Bench
from diagnose.ui.terminal.output import console
from diagnose.ui.terminal.patient import GaveUp, Patient, Settling


@click.command("work", cls=Command)
@click.argument("machine", required=False, type=NAME_OR_PATH, shell_complete=suggest_machines)
@click.option(
    "--case",
    type=WORDS,
    help="Go on with this case: an id, the beginning of one, or last (your last one).",
    shell_complete=suggest_cases,
)
@click.option("--who", type=WORDS, help="Who tells it; your login name when left out.")
@click.option("--title", type=WORDS, help="What a new case is about, in a few words.")
@click.option("--answers", type=READABLE, help="Take answers from a file, one on each line.")
@click.option("--scratch", is_flag=True, help="Keep nothing: to try it out.")
@colour_option
def work_command(
    *,
    machine: str | None,
    case: str | None,
    who: str | None,
    title: str | None,
    answers: Path | None,
    scratch: bool,
    no_colour: bool,
) -> None:
    """Work a case, step by step.

    Opens a case for MACHINE, or goes on with one, and asks for one thing at a time, from the
    first failing row to proven good. Every answer is kept at once; quit at any time, go on later.

    Example:
      rowfault work mounted-12
      rowfault work --case last
    """
    if bool(machine) == bool(case):
        got = f"{machine} and --case {case}" if case else "neither"
        raise click.UsageError(f"Give a MACHINE for a new case, or --case to go on; got {got}.")
    if case and scratch:
        raise click.UsageError(
            f"Give --scratch with a MACHINE: nothing of --case {case} would be kept."
        )
    wish = _Wish(machine, case, who, title, scratch)
    worked(wish, answers, colour=not no_colour)


Clock = Callable[[], datetime]

_ENDS = (CaseClosed, Overtaken, Unavailable)
"""What ends a conversation where nobody can be asked what to do."""

CLOSED = "this case is closed. Type note and words, reopen and why, or press Enter to leave"
CLOSING = Question("", "note WORDS, reopen WHY, or Enter to leave", lambda _: [])


@record
class _Wish:
    """What was asked of the command."""

    machine: str | None = None
    case: str | None = None
    who: str | None = None
    title: str | None = None
    scratch: bool = False


def worked(wish: _Wish, answers: Path | None, *, colour: bool) -> None:
    """Open or resume a case and work it until it is closed, or somebody stops."""
    started()
    knowledge = load_knowledge()
    bench = Bench(console(colour))
    with ExitStack() as stack:
        keeper: Keeper = Scratch()
        case, who = wish.case or "", wish.who or "somebody"
        if not wish.scratch:
            casebook = stack.enter_context(opened_casebook(tell=bench.say))
            who = person(wish.who)
            keeper, case = casebook, casebook.find(case, who) if case else ""
        words = [*SAYINGS, "none", "all", "done", "yes", "no"]
        talk = Conversation(keeper, knowledge, who, bench, asker(answers, words), _now)
        talk.hold(case or talk.open(wish.machine or "", wish.title))


def _now() -> datetime:
    return datetime.now(UTC)


class Conversation:
    """One case in hand, somebody to ask, and a bench to lay things out on."""

    def __init__(
        self,
        keeper: Keeper,
        knowledge: Knowledge,
        who: str,
        bench: Bench,
        asker: Asker,
        clock: Clock,
    ) -> None:
        self.kept = not isinstance(keeper, Scratch)
        self.keeper = Patient(keeper, bench, asker)
        self.knowledge, self.who = knowledge, who
        self.bench, self.asker, self.clock = bench, asker, clock
        self.accepted: dict[str, float | str] = {}
        self.seen: set[str] = set()
        self.told_here: list[Event] = []
        self.view: Projection | None = None

    def open(self, machine: str, title: str | None = None) -> str:
        """Begin a case; its id. Raises `UnknownName` or `FileProblems` for the machine."""
        built = load_machine(machine, self.knowledge)
        layout = None
        if machine not in self.knowledge.layouts:
            layout = layout_text(machine)
        now = self.clock()
        case = new_case_id(built.id, now)
        opening = Opened(case=case, machine=built.id, title=title, layout=layout)
        self.keeper.begin(new_event(opening, self.who, now))
        return case

    def hold(self, case: str) -> None:
        """Ask until the case is closed, somebody else has it, or nobody answers any more.

        Raises `Overtaken` and `CaseClosed` where nobody can be asked what to do about it.
        """
        try:
            self._hold(case)
        except GaveUp:
            self.bench.lost(self.keeper.line, case if self.kept else "")

    def _hold(self, case: str) -> None:
        self.bench.begin(self._job(case).view, DEFERRAL, kept=self.kept, who=self.who)
        while True:
            job = self._job(case)
            question = self._question(job)
            if question.over:
                self.bench.end(job.view, kept=self.kept)
                if self._closed_here(job) or not self._reopened(case):
                    return
                continue
            self.bench.lay_out(job, question)
            if not self._answered(case, job, question):
                self.bench.stopped(case if self.kept else "")
                return
            if self._handed_over(case):
                return

    def _job(self, case: str) -> Session:
        """The case as it stands now, with what others told meanwhile."""
        events = self.keeper.events(case)
        view = self._view_of(events)
        if self.seen:
            self._show_others([each for each in events if each.id not in self.seen], view)
        self.seen = {each.id for each in events}
        return Session(view, self.clock(), self.accepted)

    def _view_of(self, events: Sequence[Event]) -> Projection:
        """The case with these events; what they leave as it was is not worked out anew."""
        state = replay(events)
        self.view = self.view.then(state) if self.view else Projection(state, self.knowledge)
        return self.view

    def _show_others(self, others: Sequence[Event], view: Projection) -> None:
        """What others told, once. Raises `Overtaken` where answers wait for another question."""
        if not others:
            return
        self.bench.meanwhile(view, [each.id for each in others])
        self.seen |= {each.id for each in others}
        if unattended(self.asker) and not all(isinstance(each.what, Noted) for each in others):
            raise Overtaken(view.state.id, others)

    def _question(self, job: Session) -> Question:
        """What is asked; when the case cannot be ranked, why, and what can be done."""
        try:
            return next_question(job)
        except NoAnswer as error:
            return Question(
                asks=error.asks,
                form="undo, or correct and the number of the entry in cases show",
                read=_no_answer,
                says=str(error),
            )

    def _answered(self, case: str, job: Session, question: Question) -> bool:
        """Take lines until one tells something; False when somebody stops."""
        asked = question
        while (line := self.asker.line()) is not None:
            said = said_in(line)
            if said is not None and said.word == "quit":
                return False
            try:
                further = self._further(line, job, question, asked)
                if further is None and self._took(case, line, job, asked):
                    return True
                asked = further or asked
                self.bench.ask(asked)
            except (Wrong, RowfaultError) as error:
                if isinstance(error, _ENDS) and unattended(self.asker):
                    raise
                closed = isinstance(error, CaseClosed)
                self.bench.complain(error, None if closed else asked)
                if closed:
                    return True
        return False

    def _further(
        self, line: str, job: Session, question: Question, asked: Question
    ) -> Question | None:
        """What is asked after a line that tells nothing yet; None for one that tells something."""
        said = said_in(line)
        if said is not None and said.word in SHOWN:
            self.bench.show(said.word, job)
            return asked
        if asked is not question and not line.strip() and not asked.kept:
            return question
        return leads_to(said, line, asked)

    def _took(self, case: str, line: str, job: Session, question: Question) -> bool:
        """Keep what a line tells; whether anything has changed by it."""
        said = said_in(line)
        run_anyway = accepted(line, job, question) if said is None else None
        if run_anyway is not None:
            self.accepted = dict(run_anyway.accepted)
            return True
        if said is None and not line.strip() and not question.kept:
            raise Wrong("an answer", "nothing", question.form)
        whats = self._whats(line, job, question)
        for what in whats:
            for _, wrong in self._validation(job).faults(what):
                raise wrong
        return bool(whats) and self._keep(case, line, job, question, whats)

    def _whats(self, line: str, job: Session, question: Question) -> Sequence[What]:
        """What a line tells. Raises `Wrong`."""
        said = said_in(line)
        try:
            return (
                statements_of(said, job, question)
                if said is not None
                else self._read(spoken(line), job, question)
            )
        except ValidationError as error:
            first = error.errors()[0]
            raise Wrong(
                got=quoted(first["input"]),
                expected="something that can be kept",
                remedy=first["msg"],
            ) from None

    def _keep(
        self, case: str, line: str, job: Session, question: Question, whats: Sequence[What]
    ) -> bool:
        """Add what was told, after asking about what others told meanwhile."""
        self.keeper.line = line
        seen = job.view.state.told[-1].event.id
        answer = answered(whats, self.who, self.clock(), question, seen)
        kept = keep(
            self.keeper, case, answer, Settling(self.bench, self.asker, self._others_of(case))
        )
        if kept is None:
            self.bench.say(f"Not kept: {line}. Look again at where the case stands", "caution")
        else:
            self.told_here += kept.events
            self.seen |= {event.id for event in kept.events}
        self.keeper.line = ""
        return True

    def _others_of(self, case: str) -> Callable[[Sequence[Event]], Projection]:
        """What shows the events of others, and gives the case as it stands with them."""

        def show(others: Sequence[Event]) -> Projection:
            view = self._view_of(self.keeper.events(case))
            self._show_others([each for each in others if each.id not in self.seen], view)
            return view

        return show

    def _closed_here(self, job: Session) -> bool:
        """Whether it was this person who closed the case, just now."""
        ended = job.view.state.conclusion
        return any(event.what == ended for event in self.told_here)

    def _reopened(self, case: str) -> bool:
        """Whether somebody goes on with a case that is closed; notes are taken meanwhile."""
        self.bench.say(CLOSED)
        while (line := self.asker.line()) is not None and line.strip().lower() not in ("", "quit"):
            try:
                what = _of_a_closed_case(line)
                self._keep(case, line, self._job(case), CLOSING, [what])
                if isinstance(what, Reopened):
                    return True
            except (Wrong, RowfaultError) as error:
                if isinstance(error, _ENDS) and unattended(self.asker):
                    raise
                self.bench.complain(error, CLOSING)
        return False

    def _handed_over(self, case: str) -> bool:
        """Whether somebody else goes on, as was said just now."""
        last = self.told_here[-1].what if self.told_here else None
        if not isinstance(last, HandedOver):
            return False
        self.bench.handed_over(last.to, case if self.kept else "")
        return True

    def _validation(self, job: Session) -> Validation:
        return Validation(job.view.machine, self.knowledge, job.view.state.case)

    def _only_asked(self, words: Sequence[str], question: Question) -> bool:
        """Whether words are circumstances, and those are what is asked for."""
        keys = [word.partition("=")[0].lower() for word in words]
        return question.words and not any("@" in k or k in self.knowledge.checks for k in keys)

    def _read(self, line: str, job: Session, question: Question) -> Sequence[What]:
        """What an answer tells; words such as oil=45C are taken at any time."""
        words = line.split()
        if words and all("=" in word for word in words) and not self._only_asked(words, question):
            return parse_statements(
                words, job.view.state.circumstances, job.view.machine, self.knowledge
            )
        return question.read(line)


def _of_a_closed_case(line: str) -> Noted | Reopened:
    """A note, or why the case goes on. Raises `CaseClosed`, or `Wrong` for what cannot be kept."""
    word, _, rest = line.strip().partition(" ")
    if word.lower() in ("note", "reopen") and rest.strip():
        words = spoken(rest.strip())
        return Noted(words) if word.lower() == "note" else Reopened(reason=words)
    remedy = "the case is closed, and nothing else is kept"
    raise CaseClosed(Problem(Place("this case"), CLOSING.form, quoted(line), remedy))


def _no_answer(_: str) -> NoReturn:
    raise Wrong("undo, or else and what is right", "an answer")
