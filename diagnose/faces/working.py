"""What ``rowfault work`` does: show where the case stands, ask, keep the answer, and again."""

from __future__ import annotations

import getpass
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import NoReturn

from diagnose.advice import DEFERRAL
from diagnose.errors import FileProblems, InputError, NoAnswer
from diagnose.faces.asking import Asker, asker
from diagnose.faces.bench import Bench
from diagnose.faces.output import console
from diagnose.faces.streams import started
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.wrong import Wrong
from diagnose.machine.graph import load_machine
from diagnose.record import record
from diagnose.story.event import Opened, What, new_case_id, people_in, told
from diagnose.story.fitting import Fitting
from diagnose.story.replay import replay
from diagnose.story.view import View
from diagnose.story.words import events_of
from diagnose.work.job import Job
from diagnose.work.keeping import Keeper, Scratch
from diagnose.work.question import Question
from diagnose.work.sayings import SAYINGS, SHOWN, accepted, said_in, told_by
from diagnose.work.steps import next_question

Clock = Callable[[], datetime]


@record
class Wish:
    """What was asked of the command."""

    machine: str | None = None
    case: str | None = None
    who: str | None = None
    title: str | None = None
    scratch: bool = False


def worked(wish: Wish, answers: Path | None, *, colour: bool) -> None:
    """Open or resume a case and work it until it is closed, or somebody stops."""
    started()
    knowledge = load_knowledge()
    with ExitStack() as stack:
        keeper: Keeper = Scratch()
        case = wish.case or ""
        if not wish.scratch:
            from diagnose.store.casebook import open_casebook  # noqa: PLC0415

            casebook = stack.enter_context(open_casebook())
            keeper, case = casebook, casebook.find(case) if case else ""
        who = wish.who or _login()
        bench = Bench(console(colour))
        words = [*SAYINGS, "none", "all", "done", "yes", "no"]
        talk = Conversation(keeper, knowledge, who, bench, asker(answers, words), _now)
        talk.hold(case or talk.open(wish.machine or "", wish.title))


def _login() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "somebody"


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
        self.keeper, self.knowledge, self.who = keeper, knowledge, who
        self.bench, self.asker, self.clock = bench, asker, clock
        self.accepted: dict[str, float | str] = {}
        self.seen: set[str] = set()

    def open(self, machine: str, title: str | None = None) -> str:
        """Begin a case; its id. Raises `UnknownName` or `FileProblems` for the machine."""
        built = load_machine(machine, self.knowledge)
        layout = None
        if built.id not in self.knowledge.layouts:
            layout = Path(machine).read_text(encoding="utf-8")
        now = self.clock()
        case = new_case_id(built.id, now)
        opening = Opened(case=case, machine=built.id, title=title, layout=layout)
        self.keeper.begin(told(opening, self.who, now))
        return case

    def hold(self, case: str) -> None:
        """Ask until the case is closed or nobody answers any more."""
        kept = not isinstance(self.keeper, Scratch)
        self.bench.begin(self._job(case).view, DEFERRAL, kept=kept)
        while True:
            job = self._job(case)
            question = self._question(job)
            if question is None or question.over:
                self.bench.end(job.view, kept=kept)
                return
            self.bench.lay_out(job, question)
            if not self._answered(case, job, question):
                self.bench.stopped("" if isinstance(self.keeper, Scratch) else case)
                return

    def _job(self, case: str) -> Job:
        """The case as it stands now, with what others told meanwhile."""
        events = self.keeper.events(case)
        others = [each for each in events if self.seen and each.id not in self.seen]
        if others:
            people = " and ".join(people_in(others))
            self.bench.say(f"{people} told something of this case meanwhile")
        self.seen = {each.id for each in events}
        view = View(replay(events), self.knowledge)
        return Job(view, self.clock(), self.accepted)

    def _question(self, job: Job) -> Question | None:
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

    def _answered(self, case: str, job: Job, question: Question) -> bool:
        """Take lines until one tells something; False when somebody stops."""
        while True:
            line = self.asker.line()
            if line is None:
                return False
            said = said_in(line)
            if said is not None and said.word == "quit":
                return False
            try:
                if said is not None and said.word in SHOWN:
                    self.bench.show(said.word, job)
                    self.bench.ask(question)
                    continue
                if self._took(case, line, job, question):
                    return True
            except (Wrong, InputError, FileProblems, NoAnswer) as error:
                self.bench.complain(error, question)

    def _took(self, case: str, line: str, job: Job, question: Question) -> bool:
        """Keep what a line tells; whether it told anything."""
        said = said_in(line)
        if said is not None:
            whats: Sequence[What] = told_by(said, job, question)
        else:
            run_anyway = accepted(line, job, question)
            if run_anyway is not None:
                self.accepted = dict(run_anyway.accepted)
                return True
            if not line.strip() and not question.kept:
                raise Wrong("an answer", "nothing", question.form)
            whats = self._read(line, job, question)
        for what in whats:
            for _, wrong in Fitting(job.view.machine, self.knowledge).faults(what):
                raise wrong
        events = [told(what, self.who, self.clock()) for what in whats]
        self.keeper.add(case, *events)
        self.seen |= {event.id for event in events}
        return bool(events)

    def _only_asked(self, words: Sequence[str], question: Question) -> bool:
        """Whether words are circumstances, and those are what is asked for."""
        keys = [word.partition("=")[0].lower() for word in words]
        return question.words and not any("@" in k or k in self.knowledge.checks for k in keys)

    def _read(self, line: str, job: Job, question: Question) -> Sequence[What]:
        """What an answer tells; words such as oil=45C are taken at any time."""
        words = line.split()
        if words and all("=" in word for word in words) and not self._only_asked(words, question):
            return events_of(words, job.view.state, job.view.machine, self.knowledge)
        return question.read(line)


def _no_answer(_: str) -> NoReturn:
    raise Wrong("undo, or else and what is right", "an answer")
