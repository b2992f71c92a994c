"""How a case in hand is laid out on a terminal of 80 by 24: where it stands, then what to do."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from rich.console import Console, Group, RenderableType
from rich.text import Text

from diagnose.diagnosis.causes import Cause
from diagnose.diagnosis.explain import weighing
from diagnose.errors import FileProblems, InputError, RowfaultError, on_one_line
from diagnose.formats.value_problem import Wrong
from diagnose.observations.entries import Correction
from diagnose.observations.events import Run
from diagnose.observations.result import Result
from diagnose.observations.text import OUTCOMES, in_hand, in_words
from diagnose.projection import Projection
from diagnose.reports.forms.case import TimelineEntry
from diagnose.reports.story import timeline_of
from diagnose.session.answers import Question
from diagnose.session.overtaken import Doubt
from diagnose.session.prompt_commands import SAYINGS
from diagnose.session.session import Session
from diagnose.session.steps import expected
from diagnose.ui.streams import visible
from diagnose.ui.terminal.output import GLUE, print_tidily
from diagnose.ui.terminal.ranking import bullets
from diagnose.ui.terminal.rows import Line, draw_rows
from diagnose.ui.words import how_many, minutes_text, percent, sentence

_EXAMPLE = "response=fail:6,pass:rest oil=54C"

SHORT, LONG = 3, 8
"""Causes that are shown at each step, and when they are asked for."""

_MOST_REASONS = 4


class Bench:
    """Prints what somebody who works a case wants to see."""

    def __init__(self, console: Console) -> None:
        self.console = console
        self._rows_shown = ""

    def say(self, text: str, style: str = "") -> None:
        """One sentence.

        >>> Bench(Console(width=60)).say("row 6 failed")
        Row 6 failed.
        """
        print_tidily(self.console, Text(_kept_together(sentence(visible(text))), style=style))

    def begin(self, view: Projection, deferral: str, *, kept: bool, who: str = "") -> None:
        """Which case it is, who has it, whether it is ``kept``, and who comes first."""
        state, machine = view.state, view.machine
        told = len(state.told)
        case = f"Case {state.id}" if kept else "Nothing is kept"
        head = f"{machine.id}, {machine.rows} rows. {case}"
        self.say(head + (f", {how_many(told, 'thing')} told so far" if told > 1 else ""), "title")
        if state.title:
            self.say(state.title)
        if state.open and (state.handover or state.owner != who):
            self.say(in_hand(state))
        self.say(deferral, "caution")
        self.say("Words that help at any prompt: why, plan, rows, undo, note, skip, quit, help")
        if not state.case.runs:
            self.say(f"A check was run already? Type what it showed: {_EXAMPLE}")

    def lay_out(self, job: Session, question: Question) -> None:
        """Where the case stands, where that has changed, and what to do now."""
        parts: list[RenderableType] = [Text()]
        picture = [*self._picture(job.view)]
        drawn = "\n".join(line.plain for line in picture)
        if drawn and drawn != self._rows_shown:
            self._rows_shown = drawn
            parts += [*picture, *self._causes(job.view.causes, SHORT), Text()]
        print_tidily(self.console, Group(*parts, *_step(question)))

    def _picture(self, view: Projection) -> Iterator[Text]:
        """The last result of every row in every check."""
        lines = list(_last_results(view))
        machine = view.machine
        if lines:
            width, plain = self.console.width, self.console.options.ascii_only
            yield from draw_rows(lines, machine.sections, machine.branches, width, plain)

    def _causes(self, causes: Sequence[Cause], most: int) -> Iterator[RenderableType]:
        likely = [each for each in causes[:most] if each.probability >= 0.01]
        yield from bullets(f"{percent(each.probability)} {each.says}" for each in likely)

    def show(self, word: str, job: Session) -> None:
        """What was asked for."""
        shown: dict[str, list[RenderableType]] = {
            "causes": [*self._causes(job.view.ranking.causes, LONG)] if word == "causes" else [],
            "rows": [*self._picture(job.view)] if word == "rows" else [],
            "why": [*_reasons(job)] if word == "why" else [],
            "plan": [*_plan(job)] if word == "plan" else [],
            "help": [*_help()] if word == "help" else [],
        }
        print_tidily(self.console, Group(*(shown[word] or [Text("Nothing to show yet.")])))

    def ask(self, question: Question) -> None:
        """The question once more, after something was shown.

        >>> Bench(Console(width=60)).ask(Question("Which row?", "a number", list, kept="row 6"))
        Which row? (a number; Enter for row 6)
        """
        print_tidily(self.console, _asked(question))

    def meanwhile(self, view: Projection, ids: Sequence[str]) -> None:
        """What others told of the case while somebody was asked: who, what and when."""
        entries = [each for each in _entries(view) if each.id in ids]
        people = " and ".join(dict.fromkeys(each.who for each in entries))
        self.say(f"{people} told something of this case meanwhile", "caution")
        print_tidily(self.console, Group(*bullets(map(_entry_line, entries))))

    def doubt(self, view: Projection, doubt: Doubt) -> None:
        """What only the giver of an answer can say, with what it is about."""
        entries = {each.id: each for each in _entries(view)}
        lines = [_entry_line(entries[each.event.id]) for each in doubt.others]
        if len(lines) > 1:
            self._lines(f"{number}. {line}" for number, line in enumerate(lines, 1))
        mine = doubt.mine
        if isinstance(mine, Run):
            mine = replace(mine, circumstances={})
        if not isinstance(mine, Correction):
            self._lines([f"Yours: {in_words(mine, view.machine, view.knowledge)}"])
        self.ask_again(doubt.asks, doubt.form)

    def _lines(self, lines: Iterable[str]) -> None:
        print_tidily(self.console, Group(*(Text(on_one_line(line)) for line in lines)))

    def ask_again(self, asks: str, form: str) -> None:
        """A question with the form of its answer.

        >>> Bench(Console(width=60)).ask_again("Same run?", "yes or no")
        Same run? (yes or no)
        """
        self.ask(Question(asks, form, lambda _: []))

    def complain(self, error: Wrong | RowfaultError, question: Question | None) -> None:
        """What could not be used, and what can.

        >>> question = Question("Which row?", "a number", list)
        >>> Bench(Console(width=60)).complain(Wrong("a row", "'x'", "say 6"), question)
        Expected a row, got 'x'; say 6.
        (a number)
        """
        for line in _complaints(error):
            self.say(line, "caution")
        if question is not None and question.form:
            print_tidily(self.console, Text(f"({question.form})"))

    def stopped(self, case: str) -> None:
        """Where to go on; without a case, that nothing was kept.

        >>> Bench(Console(width=60)).stopped("20260301-a")
        Kept. Go on with: rowfault work --case 20260301-a.
        """
        say = f"Kept. Go on with: rowfault work --case {case}" if case else "Nothing was kept"
        self.say(say)

    def lost(self, line: str, case: str) -> None:
        """That what was typed last is not kept, and where to go on.

        >>> Bench(Console(width=60)).lost("6", "20260301-a")
        Not kept: 6. Type it again when you go on.
        Go on with: rowfault work --case 20260301-a.
        """
        if line:
            self.say(f"Not kept: {line}. Type it again when you go on")
        if case:
            self.say(f"Go on with: rowfault work --case {case}")

    def handed_over(self, to: str, case: str) -> None:
        """Who goes on, and how.

        >>> Bench(Console(width=79)).handed_over("Ben", "20260301-a")
        Handed over to Ben. The case stays open.
        Ben goes on with: rowfault work --case 20260301-a --who Ben.
        """
        self.say(f"Handed over to {to}. The case stays open")
        if case:
            self.say(f"{to} goes on with: rowfault work --case {case} --who {shlex.quote(to)}")

    def end(self, view: Projection, *, kept: bool) -> None:
        """How the case ended, in a few lines, and where its story is if it is ``kept``."""
        lines = [*_ending(view)]
        if kept:
            lines.append(f"the whole story: rowfault cases show {view.state.id}")
            lines.append(f"to reopen it: rowfault cases reopen {view.state.id} --reason WHY")
        print_tidily(self.console, Group(Text(), *bullets(map(_kept_together, lines))))


def _entries(view: Projection) -> tuple[TimelineEntry, ...]:
    return timeline_of(view.state, view.machine, view.knowledge)


def _entry_line(entry: TimelineEntry) -> str:
    at = datetime.fromisoformat(entry.at).astimezone()
    return visible(on_one_line(f"{entry.who}, {at:%H:%M}: {entry.says}"))


def _kept_together(text: str) -> str:
    """The text with numbers that are not parted from their percent signs."""
    return text.replace(" %", f"{GLUE}%")


def _last_results(view: Projection) -> Iterator[Line]:
    case = view.state.case
    for check in view.knowledge.checks:
        last = ["."] * view.machine.rows
        for run in case.runs:
            if run.check == check:
                for row, result in enumerate(run.results):
                    last[row] = last[row] if result is Result.NOT_RUN else result.value
        if set(last) != {"."}:
            yield Line(check, "".join(last))


def _step(question: Question) -> Iterator[RenderableType]:
    """The step with its reason, what it takes and its cautions; the question comes last."""
    if question.says:
        head = Text(_kept_together(sentence(question.says)), style="title")
        if question.minutes:
            head.append(f" About {minutes_text(question.minutes)}.", "not bold")
        yield head
    yield from bullets(map(_kept_together, question.because))
    if question.needs:
        yield Text(f"Needs: {', '.join(question.needs)}.")
    for caution in question.cautions:
        yield Text(f"Take care: {sentence(caution)}", style="caution")
    yield _asked(question)


def _asked(question: Question) -> Text:
    kept = f"; Enter for {question.kept}" if question.kept else ""
    text = Text(f"{question.asks} ", style="title")
    return text.append(f"({question.form}{kept})", "not bold")


def _reasons(job: Session) -> Iterator[RenderableType]:
    leading = list(job.view.ranking.causes[:SHORT])
    why = weighing(job.view.ranking, leading)
    for cause in leading:
        moved = why.moved.get(cause.id)
        if moved:
            yield Text(f"{percent(cause.probability)} {cause.says}")
            said = (
                f"{each.words} {'for' if each.log_odds > 0 else 'against'}: {each.says}"
                for each in moved[:_MOST_REASONS]
            )
            yield from bullets(said)
    if not why.whole:
        yield Text("There are too many failing runs to weigh the older ones too.")


def _plan(job: Session) -> Iterator[RenderableType]:
    act = job.plan.act
    if act is None:
        yield from bullets([job.proof.says])
        return
    yield Text(sentence(act.says))
    yield from bullets(f"{percent(chance)}: {says}" for chance, says in expected(job))
    yield from bullets(
        [f"all well after {minutes_text(job.plan.plan_minutes)} on average", job.proof.says]
    )


def _help() -> Iterator[RenderableType]:
    yield Text("Answer the question, or say:")
    yield from bullets(f"{word}: {does}" for word, does in SAYINGS.items())
    yield from bullets(["a circumstance as it is now, for example else oil=45C"])


def _complaints(error: Wrong | RowfaultError) -> list[str]:
    if isinstance(error, Wrong):
        tail = f"; {error.remedy}" if error.remedy else ""
        return [f"expected {error.expected}, got {error.got}{tail}"]
    if isinstance(error, FileProblems):
        return [str(problem) for problem in error.problems]
    return [str(error.problem) if isinstance(error, InputError) else str(error)]


def _ending(view: Projection) -> Iterator[str]:
    state = view.state
    ended = state.conclusion
    if ended is None:
        return
    how = OUTCOMES[ended.outcome]
    says = ended.says or ""
    yield f"closed: {says}" if says.startswith(how) else f"closed: {how}. {sentence(says)}"
    named = {cause.id: cause.says for cause in view.causes}
    yield f"cause: {' and '.join(named.get(each, each) for each in ended.causes) or 'none named'}"
    done = [work.id for work in state.case.work]
    yield f"done: {', '.join(done) or 'nothing but checks'}"
    used = [f"{each.remedy} at {each.part} ({each.price})" for each in view.parts_used]
    yield f"parts: {', '.join(used) or 'none'}"
    runs = how_many(len(state.case.runs), "run")
    yield f"{runs}, {minutes_text(state.elapsed_minutes)} by the clock"
