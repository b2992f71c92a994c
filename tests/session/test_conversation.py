"""A case is worked from the first failing row to proven good, by somebody who only answers."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.knowledge.base import load_knowledge
from diagnose.observations.archive import read_story, story_text
from diagnose.observations.entries import Noted, Skipped, new_event
from diagnose.observations.events import Remedied, Run, Swapped
from diagnose.observations.state import CaseState, replay
from diagnose.paths import shipped
from diagnose.projection import Projection
from diagnose.reports.ranking import ranking_report
from diagnose.session.answers import Question
from diagnose.session.scratch import Scratch
from diagnose.session.session import Session
from diagnose.store.casebook import open_casebook
from diagnose.ui.cli.root import rowfault
from diagnose.ui.cli.work import Conversation
from diagnose.ui.terminal.bench import Bench
from diagnose.ui.terminal.output import console

KNOWLEDGE = load_knowledge()
FINE = {"coil-resistance": "1000000ohm", "valve-code": "5", "sensor-code": "0"}


class Watched(Bench):
    """Remembers what was laid out last, so that a test can answer it."""

    question: Question
    job: Session

    def lay_out(self, job: Session, question: Question) -> None:
        """Lay it out and remember it."""
        self.question, self.job = question, job
        super().lay_out(job, question)


class Planter:
    """A planter with one broken coil, and somebody beside it who does what is asked."""

    def __init__(self, bench: Watched, bad_row: int, say: Callable[[Question], str | None]) -> None:
        self.bench, self.bad_row, self.say = bench, bad_row, say
        self.told: list[str] = []

    def line(self) -> str | None:
        """The answer to what was laid out last."""
        answer = self.say(self.bench.question) or self.answer(self.bench.question)
        self.told.append(answer)
        assert len(self.told) < 200, f"no end: {self.bench.question}"
        return answer

    def answer(self, question: Question) -> str:
        """What is true of this planter."""
        if question.asks.startswith(("Is it so", "Supply", "Oil")):
            return "54C 62bar" if "bleed check" in question.says else "54C 180bar"
        if " FAIL" in question.asks:
            rows = re.findall(r"\d+", question.asks.partition(" FAIL")[0])
            ran = range(int(rows[0]), int(rows[-1]) + 1)
            failing = "response" in question.asks and self.bad_row in ran
            return str(self.bad_row) if failing else "none"
        if question.act is not None and question.act.work is not None:
            self._work(question)
            return "done"
        if question.act is not None and question.act.kind in ("measure", "look"):
            usual = "no" if question.form == "yes or no" else question.form.split()[-1]
            return FINE.get(question.act.id.partition("@")[0], usual)
        return "1" if question.asks == "What was it?" else "no"

    def _work(self, question: Question) -> None:
        assert question.act is not None
        work = question.act.work
        row = int(re.search(r"row-(\d+)", work.part)[1]) if work and "row-" in work.part else 0  # type: ignore[index]
        if isinstance(work, Swapped):
            other = int(re.search(r"row-(\d+)", work.other)[1])  # type: ignore[index]
            moves = work.swap in ("swap-coil", "swap-valve")
            if moves and self.bad_row in (row, other):
                self.bad_row = row + other - self.bad_row
        elif work is not None and work.remedy in ("replace-coil", "replace-valve"):
            self.bad_row = 0 if row == self.bad_row else self.bad_row


def clock() -> Iterator[datetime]:
    at = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
    while True:
        yield at
        at += timedelta(minutes=1)


def worked(
    machine: str,
    bad_row: int,
    say: Callable[[Question], str | None] = lambda _: None,
) -> tuple[CaseState, Planter, Scratch]:
    bench = Watched(console(False))
    bench.console.width = 80
    keeper, ticks = Scratch(), clock()
    planter = Planter(bench, bad_row, say)
    talk = Conversation(keeper, KNOWLEDGE, "Ann", bench, planter, lambda: next(ticks))
    case = talk.open(machine, "invented")
    talk.hold(case)
    return replay(keeper.events(case)), planter, keeper


def swap_first() -> Callable[[Question], str | None]:
    """Swap the coil with the neighbour's before anything else, as a technician may like to."""
    done: list[str] = []

    def say(question: Question) -> str | None:
        act = question.act
        if act is None or act.kind == "rerun" or done:
            return None
        done.append(act.id)
        return "else swap-coil@row-5=row-6"

    return say


@pytest.mark.slow
@pytest.mark.parametrize("machine", ["mounted-12", "folding-24"])
def test_from_a_failing_row_to_proven_good_with_a_swap_and_a_part(
    machine: str, capsys: pytest.CaptureFixture[str]
) -> None:
    say = swap_first()
    planter: list[Planter] = []

    def saying(question: Question) -> str | None:
        told = say(question)
        if told:
            planter[0].bad_row = 6
        return told

    bench = Watched(console(False))
    keeper, ticks = Scratch(), clock()
    planter.append(Planter(bench, 5, saying))
    talk = Conversation(keeper, KNOWLEDGE, "Ann", bench, planter[0], lambda: next(ticks))
    case = talk.open(machine)
    talk.hold(case)
    state = replay(keeper.events(case))
    assert any(isinstance(each.counts, Swapped) for each in state.told)
    assert any(isinstance(each.counts, Remedied) for each in state.told)
    assert state.conclusion is not None
    assert state.conclusion.outcome == "proven"
    assert state.conclusion.causes[0].startswith("row-5/valve:")
    assert "closed: proven" in capsys.readouterr().out.lower()


@pytest.mark.slow
def test_a_case_taken_up_elsewhere_in_the_middle_ranks_and_asks_the_same() -> None:
    state, _, keeper = worked("mounted-12", 5)
    events = list(keeper.events(state.id))
    half = events[: len(events) * 2 // 3]
    from diagnose.formats.strictyaml import read_text

    again = read_story(read_text(story_text(half), "a.yaml"), KNOWLEDGE)
    here, there = (Projection(replay(each), KNOWLEDGE) for each in (half, again))
    assert ranking_report(here.ranking) == ranking_report(there.ranking)


@pytest.mark.slow
def test_the_final_full_pass_is_insisted_on() -> None:
    state, _, _ = worked("mounted-12", 7)
    since = [
        each.counts
        for each in state.told[
            max(n for n, each in enumerate(state.told) if isinstance(each.counts, Remedied)) :
        ]
        if isinstance(each.counts, Run)
    ]
    whole = {run.check for run in since if run.pattern == 12 * "P"}
    assert whole == {"response"}  # a coil is electrical: no new bleed


@pytest.mark.slow
def test_an_act_that_cannot_be_done_is_not_asked_for_again() -> None:
    skipped: list[str] = []

    def say(question: Question) -> str | None:
        act = question.act
        if act is not None and act.kind not in ("remedy", "rerun") and len(skipped) < 3:
            assert act.id not in skipped
            skipped.append(act.id)
            return "skip no tool"
        return None

    state, _, _ = worked("mounted-6", 3, say)
    assert state.skipped == frozenset(skipped)
    assert skipped
    assert [each.counts.reason for each in state.told if isinstance(each.counts, Skipped)] == [
        "no tool"
    ] * len(skipped)
    assert state.conclusion is not None


@pytest.mark.slow
def test_what_was_told_wrongly_is_taken_back_and_told_again() -> None:
    steps = iter(["5", "undo"])
    begun: list[str] = []

    def say(question: Question) -> str | None:
        if "response" in question.asks and not begun:
            begun.append(question.asks)
            return next(steps)
        if begun and len(begun) < 2:
            begun.append("undo")
            return next(steps)
        return None

    state, planter, _ = worked("mounted-6", 3, say)
    assert "undo" in planter.told
    assert state.case.runs[1].pattern == "PPFPPP"


@pytest.mark.slow
def test_cold_oil_is_said_before_the_run_and_warmed() -> None:
    told: list[str] = []

    def say(question: Question) -> str | None:
        if question.asks.startswith("Is it so") and not told:
            told.append(question.says)
            return "15C 62bar"
        if question.asks == "How is it now?":
            told.append(question.says)
            assert "Warm the oil" in question.says
            assert any("scalds" in caution for caution in question.cautions)
            return "oil=54C"
        return None

    state, _, _ = worked("mounted-6", 3, say)
    assert len(told) == 2
    assert {run.circumstances["oil"] for run in state.case.runs} == {54.0}


def test_a_run_may_be_made_anyway() -> None:
    def say(question: Question) -> str | None:
        if question.asks.startswith("Is it so") and "bleed" in question.says:
            return "15C 62bar"
        return "anyway" if question.asks == "How is it now?" else None

    bench = Watched(console(False))
    keeper, ticks = Scratch(), clock()
    planter = Planter(bench, 3, lambda q: say(q) if len(planter.told) < 3 else "quit")
    talk = Conversation(keeper, KNOWLEDGE, "Ann", bench, planter, lambda: next(ticks))
    case = talk.open("mounted-6")
    talk.hold(case)
    (run,) = replay(keeper.events(case)).case.runs
    assert run.circumstances["oil"] == 15.0


@pytest.mark.slow
def test_no_line_is_wider_than_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    for word in ("why", "plan", "rows", "causes", "help"):
        said: list[str] = []

        def say(question: Question, word: str = word, said: list[str] = said) -> str | None:
            said.append(word)
            return word if len(said) % 2 and len(said) < 30 else None

        worked("mounted-12", 5, say)
    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines())) <= 80


class Scripted:
    """Gives answers in order, and does something before each."""

    def __init__(self, answers: list[str], before: Callable[[int], None] = lambda _: None) -> None:
        self.answers, self.before, self.given = answers, before, 0

    def line(self) -> str | None:
        """The next answer."""
        self.before(self.given)
        self.given += 1
        return self.answers[self.given - 1] if self.given <= len(self.answers) else None


def talked(
    answers: list[str], before: Callable[[Scratch, int], None] = lambda k, n: None
) -> CaseState:
    keeper, ticks = Scratch(), clock()
    asker = Scripted(answers, lambda given: before(keeper, given))
    talk = Conversation(keeper, KNOWLEDGE, "Ann", Bench(console(False)), asker, lambda: next(ticks))
    case = talk.open("mounted-6")
    talk.hold(case)
    return replay(keeper.events(case))


def test_a_layout_of_ones_own_goes_with_the_case_whatever_it_is_called(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    text = KNOWLEDGE.layouts["mounted-6"].read_text(encoding="utf-8")
    path.write_text(f"{text}# with another hose\n", encoding="utf-8")
    keeper = Scratch()
    asker, now = Scripted([], lambda _: None), datetime(2026, 3, 1, tzinfo=UTC)
    talk = Conversation(keeper, KNOWLEDGE, "Ann", Bench(console(False)), asker, lambda: now)
    (opening,) = keeper.events(talk.open(str(path)))
    assert "with another hose" in opening.what.layout


def test_what_somebody_else_told_meanwhile_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    def other(keeper: Scratch, given: int) -> None:
        if given == 0:
            (case,) = keeper.cases
            keeper.add(case, new_event(Noted("hose chafed"), "Ben"))

    state = talked(["note mine", "quit"], other)
    assert "Ben told something of this case meanwhile." in capsys.readouterr().out
    assert state.notes == ("hose chafed", "mine")


@pytest.mark.slow
def test_what_was_told_twice_is_taken_back_twice(
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = "response=FFFFFF oil=54C engine=on moving=no supply=180bar bleed-hose=stowed"
    contradiction = "else supply-voltage@power=0V"
    state = talked([words, contradiction, contradiction, "causes", "undo", "undo", "quit"])
    assert len(state.case.readings) == 0
    assert "Traceback" not in capsys.readouterr().out


@pytest.mark.slow
def test_an_earlier_entry_is_put_right_by_its_number(capsys: pytest.CaptureFixture[str]) -> None:
    state = talked(
        [
            "response=fail:6,pass:rest oil=54C",
            "note hose chafed",
            "correct 2 response=fail:5,pass:rest oil=54C",
            "correct 3",
            "correct 1",
            "correct 99 note",
            "correct 2 oil=5C engine=on",
            "quit",
        ]
    )
    assert [run.pattern for run in state.case.runs] == ["PPPPFP"]
    assert state.notes == ()
    assert len(state.told) == 5
    shown = capsys.readouterr().out
    assert shown.count("Expected an entry from 2 to 5") == 2
    assert "Expected one thing in its place, got 2 things" in shown


def test_a_cause_that_the_machine_cannot_have_is_refused(
    capsys: pytest.CaptureFixture[str],
) -> None:
    good = "oil=54C engine=on moving=no"
    state = talked(
        [
            f"bleed=PPPPPP {good} supply=62bar bleed-hose=fitted",
            f"response=PPPPPP {good} supply=180bar bleed-hose=stowed",
            "row-99/valve:rust",
            "none",
        ]
    )
    assert "Expected a part, got 'row-99/valve'" in capsys.readouterr().out
    assert state.conclusion is not None
    assert state.conclusion.causes == ()


@pytest.mark.slow
def test_a_file_of_answers_works_a_case_in_the_casebook(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path))
    monkeypatch.delenv("ROWFAULT_CASEBOOK", raising=False)
    answers = shipped().casebook / "answers" / "swapped-coil.txt"
    words = ["work", "mounted-12", "--who", "Ann", "--answers", str(answers)]
    result = CliRunner().invoke(rowfault, words, prog_name="rowfault")
    assert (result.exit_code, "Closed: proven good" in result.stdout) == (0, True), result.output
    with open_casebook() as casebook:
        (entry,) = casebook.entries()
    assert (entry.outcome, entry.causes) == ("proven", ("row-5/valve:coil_shorted",))


words = st.sampled_from(
    ["none", "all", "6", "1-3", "99", "6?", "?", "PPPPPF", "......", "yes", "no", "done", "undo",
     "redo", "skip", "skip it", "note", "note x", "else", "else nonsense", "else oil=5C",
     "else response=PPPPPF", "else replace-coil@row-6=done", "missing", "missing meter",
     "54C", "15C 62bar", "oil=54C", "anyway", "why", "plan", "1", "7.4ohm", "", "   ", "=", "@",
     "else swap-coil@row-6=row-5", "hand over", "give up", "help", "\x1b[31m", "row-6/valve:rust"]
) | st.text(max_size=12)  # fmt: skip


@pytest.mark.slow
@given(st.lists(words, max_size=14))
@settings(max_examples=150, deadline=None)
def test_whatever_is_answered_the_conversation_goes_on(answers: list[str]) -> None:
    left = iter(answers)

    class Random:
        def line(self) -> str | None:
            return next(left, None)

    keeper, ticks = Scratch(), clock()
    bench = Bench(console(False))
    talk = Conversation(keeper, KNOWLEDGE, "Ann", bench, Random(), lambda: next(ticks))
    case = talk.open("mounted-6")
    talk.hold(case)
    assert replay(keeper.events(case)).case.machine == "mounted-6"
