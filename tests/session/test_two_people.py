"""Two people at one case: what the face shows and asks, and that it never loses a line."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.errors import CaseClosed, InputError, Overtaken, Unavailable
from diagnose.knowledge.base import load_knowledge
from diagnose.observations.encoding import canonical, decode, encode
from diagnose.observations.entries import (
    AtHand,
    Concluded,
    Event,
    HandedOver,
    Noted,
    Reopened,
    Statement,
    new_event,
)
from diagnose.observations.events import Circumstances, History, Reading, Remedied, Run, Swapped
from diagnose.observations.state import CaseState, replay
from diagnose.session.scratch import Keeper, Scratch
from diagnose.ui.cli.root import rowfault
from diagnose.ui.cli.work import Conversation
from diagnose.ui.terminal.asking import Answers, Asker
from diagnose.ui.terminal.bench import Bench
from diagnose.ui.terminal.output import console

KNOWLEDGE = load_knowledge()
SWAP = Swapped("swap-coil", "row-6/valve", "row-5/valve")
FIVE = Run.of("bleed", "PPPPFP")
GIVEN_UP = Concluded(outcome="given-up", says="it rains")
READY = "54C 62bar"
Told = Mapping[int, Sequence[Statement]]


def clock() -> Iterator[datetime]:
    at = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
    while True:
        yield at
        at += timedelta(minutes=1)


class Scripted:
    """Gives lines in order; before some of them Ben tells something."""

    def __init__(self, lines: Sequence[str], ben: Callable[[int], None]) -> None:
        self.lines, self.ben, self.given = lines, ben, 0

    def line(self) -> str | None:
        """The next line; every one is used."""
        self.ben(self.given)
        self.given += 1
        return self.lines[self.given - 1] if self.given <= len(self.lines) else None


def talked(
    lines: Sequence[str], ben: Told | None = None, keeper: Keeper | None = None
) -> tuple[CaseState, Scratch]:
    """What comes of a case in which Ann types lines, and Ben tells things before some of them."""
    scratch = Scratch()

    def tell(given: int) -> None:
        for what in (ben or {}).get(given, ()):
            scratch.add(scratch.cases[0], new_event(what, "Ben"))

    asker = Scripted(lines, tell)
    conversation(keeper or scratch, asker, scratch)
    assert asker.given == len(lines)
    return replay(scratch.events(scratch.cases[0])), scratch


def conversation(keeper: Keeper, asker: Asker, scratch: Scratch, who: str = "Ann") -> None:
    ticks = clock()
    bench = Bench(console(False))
    bench.console.width = 80
    talk = Conversation(keeper, KNOWLEDGE, who, bench, asker, lambda: next(ticks))
    talk.hold(scratch.cases[0] if scratch.cases else talk.open("mounted-6"))


def shown(capsys: pytest.CaptureFixture[str]) -> str:
    return " ".join(capsys.readouterr().out.split())


def test_what_came_in_between_is_shown_before_anything_is_kept(
    capsys: pytest.CaptureFixture[str],
) -> None:
    state, _ = talked([READY, "6", "before", "quit"], {1: [SWAP, Noted("wet")]})
    said = shown(capsys)
    assert "Ben told something of this case meanwhile." in said
    assert "swap coil, done: row 6, row valve with row 5, row valve" in said
    assert "Was yours before or after the swap? (before or after)" in said
    assert [(run.pattern, run.epoch) for run in state.case.runs] == [("PPPPPF", 0)]
    assert said.count("note: wet") == 1


def test_an_answer_carries_its_question_and_what_its_giver_had_seen() -> None:
    state, scratch = talked([READY, "6", "no", "quit"], {1: [FIVE]})
    events = scratch.events(state.id)
    (mine,) = (event for event in events if event.what.kind == "run" and event.who == "Ann")
    assert mine.question == (
        "Run the bleed check on rows 1–6. Which of rows 1–6 FAILED the bleed check?"
    )
    assert mine.seen == events[1].id
    assert [event.who for event in events] == ["Ann", "Ann", "Ben", "Ann"]


def test_the_same_run_told_twice_is_one_run(capsys: pytest.CaptureFixture[str]) -> None:
    state, _ = talked([READY, "6", "perhaps", "yes", "mine", "quit"], {1: [FIVE]})
    said = shown(capsys)
    assert "Same run? (yes or no)" in said
    assert "Expected yes or no, got 'perhaps'." in said
    assert "Yours: bleed check: row 6 failed, 5 of 6 passed" in said
    assert [run.pattern for run in state.case.runs] == ["PPPPPF"]


def test_several_can_be_quicker_several_times() -> None:
    ben = {1: [SWAP], 2: [FIVE, SWAP]}
    state, _ = talked([READY, "6", "before", "no", "before", "quit"], ben)
    assert [(run.pattern, run.epoch) for run in state.case.runs] == [("PPPPPF", 0), ("PPPPFP", 1)]


def test_who_stops_at_such_a_question_is_told_that_nothing_was_kept(
    capsys: pytest.CaptureFixture[str],
) -> None:
    state, _ = talked([READY, "6", "quit"], {1: [FIVE]})
    assert [run.pattern for run in state.case.runs] == ["PPPPFP"]
    assert "Not kept: 6. Type it again when you go on." in shown(capsys)


def test_a_case_that_was_closed_meanwhile_takes_notes_and_is_reopened(
    capsys: pytest.CaptureFixture[str],
) -> None:
    lines = [READY, "6", "note hose chafed", "6", "reopen it failed again", "6", "quit"]
    state, _ = talked(lines, {1: [GIVEN_UP]})
    said = shown(capsys)
    assert "got an answer to a case that is closed: Ben closed it" in said
    assert "note WORDS, reopen WHY, or Enter to leave" in said
    assert (state.open, state.notes, state.owner) == (True, ("hose chafed",), "Ann")
    assert [run.pattern for run in state.case.runs] == ["PPPPPF"]


def test_a_reopened_case_needs_a_new_conclusion() -> None:
    state, scratch = talked([READY, "give up, it rains"])
    assert state.conclusion is not None
    scratch.add(state.id, new_event(Reopened(reason="dry again"), "Ben"))
    again = replay(scratch.events(state.id))
    assert (again.conclusion, again.open, again.owner) == (None, True, "Ben")


@pytest.fixture
def answers(tmp_path: Path) -> Callable[[str], Path]:
    def written(text: str) -> Path:
        path = tmp_path / "answers.txt"
        path.write_text(text)
        return path

    return written


class Interrupted(Answers):
    """A file of answers; Ben tells something before one of them."""

    def __init__(self, path: Path, scratch: Scratch, before: int, what: Statement) -> None:
        super().__init__(path)
        self.scratch, self.before, self.what = scratch, before, what

    def line(self) -> str | None:
        """The next answer."""
        if self.before == 0:
            self.scratch.add(self.scratch.cases[0], new_event(self.what, "Ben"))
        self.before -= 1
        return super().line()


@pytest.mark.parametrize("before", [0, 1])
@pytest.mark.parametrize(
    ("what", "ends"), [(FIVE, Overtaken), (SWAP, Overtaken), (GIVEN_UP, (CaseClosed, Overtaken))]
)
def test_answers_from_a_file_stop_where_somebody_was_quicker(
    answers: Callable[[str], Path], what: Statement, ends: type[Exception], before: int
) -> None:
    scratch = Scratch()
    path = answers(f"{READY}\n6\nquit\n")
    with pytest.raises(ends, match="rowfault"):
        conversation(scratch, Interrupted(path, scratch, before, what), scratch)
    assert replay(scratch.events(scratch.cases[0])).case.runs in ((), _only(what))


def _only(what: Statement) -> object:
    from diagnose.observations.case import Case
    from diagnose.observations.events import Run
    from diagnose.observations.result import Result

    assert isinstance(what, Run | Swapped | Concluded)
    if not isinstance(what, Run):
        return ()
    run = Run(0, what.check, tuple(Result(letter) for letter in what.pattern))
    return Case("mounted-6").then(run).runs


def test_answers_from_a_file_go_on_when_somebody_only_notes_something(
    answers: Callable[[str], Path],
) -> None:
    scratch = Scratch()
    path = answers(f"{READY}\n6\nquit\n")
    conversation(scratch, Interrupted(path, scratch, 1, Noted("wet")), scratch)
    assert len(replay(scratch.events(scratch.cases[0])).case.runs) == 1


LINES = st.sampled_from(
    [READY, "6", "5", "none", "all", "yes", "no", "mine", "theirs", "?", "before", "after", "1",
     "1,2", "2", "done", "undo", "redo", "note wet", "hand over", "hand-over Ben: late", "Ben",
     "reopen dry again", "give up", "", "else swap-coil@row-6=row-5", "else response=PPPPPF",
     "else replace-coil@row-6=done", "else coil-resistance@row-6=7.4ohm", "oil=12C engine=on",
     "correct 2", "correct 2 response=PPPPPP", "correct 3 bleed=FPPPPP", "missing meter", "skip",
     "anyway", "why", "plan", "first-hookup=yes", "first-hookup=no", "proven"]
)  # fmt: skip
FACTS = st.sampled_from(
    [FIVE, SWAP, GIVEN_UP, Noted("wet"), Reopened(reason="dry"), Concluded(outcome="proven"),
     Run.of("response", "PPPPPF"), Remedied("replace-coil", "row-6/valve"),
     Reading("coil-resistance", "row-6/valve", 99.0),
     Circumstances({"oil": 12.0}), History({"first-hookup": "no"}),
     AtHand(without=("gauge",)), HandedOver(to="Cleo", why="late")]
)  # fmt: skip


@pytest.mark.slow
@given(st.lists(LINES, max_size=14), st.dictionaries(st.integers(0, 14), FACTS, max_size=6))
@settings(max_examples=100, deadline=None)
def test_whatever_two_people_tell_both_are_on_record(
    lines: list[str], quicker: dict[int, Statement]
) -> None:
    scratch, bens = Scratch(), list[Event]()

    def tell(given: int) -> None:
        if given in quicker:
            event = new_event(quicker[given], "Ben")
            with suppress(InputError):  # the case is closed, or is not
                scratch.add(scratch.cases[0], event)
                bens.append(event)

    asker = Scripted(lines, tell)
    conversation(scratch, asker, scratch)
    events = scratch.events(scratch.cases[0])
    state = replay(events)
    assert [event for event in events if event.who == "Ben"] == bens
    assert len({event.id for event in events}) == len(events)
    assert all(event.seen for event in events if event.who == "Ann" and event is not events[0])
    assert len(state.run_events) == len({*state.run_events}) == len(state.case.runs)


# To hand over


@pytest.mark.parametrize(
    "lines",
    [
        ["hand-over Ben: it is late"],
        ["hand over to Ben: it is late"],
        ["hand over", "Ben", "it is late"],
        ["hand over, it is late", "Ben"],
        ["hand-over to Ben", "", "hand-over to Ben", "it is late"],
        ["hand-over it is late", "yes", "\x1b", "x" * 4001, "Ben"],
    ],
)
def test_a_case_is_handed_over_to_somebody_and_stays_open(
    lines: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    state, scratch = talked(lines)
    handed = state.handover
    assert handed is not None
    assert (handed.by, handed.to, handed.why, state.owner) == ("Ann", "Ben", "it is late", "Ben")
    assert state.open
    assert "Handed over to Ben. The case stays open." in shown(capsys)
    asker = Scripted([READY, "6", "quit"], lambda _: None)
    conversation(scratch, asker, scratch, who="Ben")
    assert "Ann handed this case over to Ben, 2026-03-01" in shown(capsys)
    assert [run.pattern for run in replay(scratch.events(state.id)).case.runs] == ["PPPPPF"]


def test_a_case_that_an_older_program_handed_over_goes_on(
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, scratch = talked(["quit"])
    old = new_event(Concluded(outcome="handed-over", says="it is late"), "Ann")
    line = canonical(encode(old))
    scratch.add(scratch.cases[0], decode(line))
    shown(capsys)
    conversation(scratch, Scripted([READY, "6", "quit"], lambda _: None), scratch, who="Ben")
    assert "Ann handed this case over to whoever goes on" in shown(capsys)
    events = scratch.events(scratch.cases[0])
    assert canonical(encode(events[1])) == line
    assert len(replay(events).case.runs) == 1


# A database that is gone for a while


class Shaky(Scratch):
    """A keeper that fails some of the times when something is added or read."""

    def __init__(self, inner: Scratch, fails: Mapping[int, bool]) -> None:
        self.inner, self.fails, self.times = inner, fails, 0

    @property
    def cases(self) -> tuple[str, ...]:
        """Those of the keeper inside."""
        return self.inner.cases

    def begin(self, opening: Event) -> None:
        """Begin a case."""
        self.inner.begin(opening)

    def add(self, case: str, *told: Event, seen: str | None = None) -> None:
        """Add, or fail; where that is said, after it was added."""
        self.times += 1
        if self.times in self.fails:
            if self.fails[self.times]:
                self.inner.add(case, *told, seen=seen)
            raise Unavailable("the database went away")
        self.inner.add(case, *told, seen=seen)

    def events(self, case: str) -> tuple[Event, ...]:
        """All of them, or fail."""
        self.times += 1
        if self.times in self.fails:
            raise Unavailable("the database went away")
        return self.inner.events(case)


@pytest.mark.parametrize("added", [False, True])
def test_a_line_outlives_a_database_that_goes_away(
    added: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    scratch = Scratch()
    keeper = Shaky(scratch, {5: added, 6: added})
    asker = Scripted([READY, "6", "what?", "", "", "quit"], lambda _: None)
    conversation(keeper, asker, scratch)
    said = shown(capsys)
    assert asker.given == 6
    assert said.count("The database went away.") == 2
    assert said.count("Your answer '6' is not lost. Press Enter to try again, or type quit.") == 2
    events = scratch.events(scratch.cases[0])
    assert [event.what.kind for event in events] == ["opened", "circumstances", "run"]


def test_a_database_that_stays_away_ends_in_a_clear_word(
    capsys: pytest.CaptureFixture[str],
) -> None:
    scratch = Scratch()
    keeper = Shaky(scratch, dict.fromkeys(range(5, 99), False))
    conversation(keeper, Scripted([READY, "6", "", "quit"], lambda _: None), scratch)
    assert "Not kept: 6. Type it again when you go on." in shown(capsys)


# Words that cannot be kept


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("note " + "x" * 4001, "Expected at most 4,000 letters, got 4,001."),
        ("skip " + "x" * 4001, "Expected at most 4,000 letters, got 4,001."),
        ("give up " + "x" * 4001, "Expected at most 4,000 letters, got 4,001."),
        ("else " + "x" * 5000, "got"),
        ("correct " + "9" * 3000, "Expected an entry from 2"),
        ("note \x1b[2J", "Expected text without control characters"),
        ("note \udcff", "Expected text in UTF-8"),
        ("\udcff", "Expected"),
        ("6" * 5000, "Expected"),
        ("x" * 5000, "Expected at most 4,000 letters, got 5,000."),
    ],
    ids=lambda text: text[:12].encode("unicode_escape").decode(),
)
def test_words_that_cannot_be_kept_are_refused_and_the_session_goes_on(
    line: str, complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    state, _ = talked([READY, line, "6", "quit"])
    assert complaint in shown(capsys)
    assert [run.pattern for run in state.case.runs] == ["PPPPPF"]
    assert state.notes == ()


# Commands


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path))
    monkeypatch.delenv("ROWFAULT_CASEBOOK", raising=False)
    monkeypatch.setenv("LOGNAME", "Ann")
    return tmp_path


def run(*words: str, typed: str = "") -> Result:
    return CliRunner().invoke(rowfault, words, input=typed, prog_name="rowfault")


def test_the_last_case_is_ones_own(home: Path) -> None:
    for machine, who in (("mounted-6", "Ann"), ("mounted-12", "Ben")):
        assert run("work", machine, "--who", who, typed="note wet\nquit\n").exit_code == 0
    for who, machine in ((["--who", "Ben"], "mounted-12"), ([], "mounted-6")):
        assert f"{machine}, " in run("cases", "show", "last", *who).stdout
        assert f"{machine}, " in run("work", "--case", "last", *who, typed="quit\n").stdout
        report = run("report", "last", "-o", "-", "--format", "json", *who).stdout
        assert f'"id": "{machine}"' in report
        exported = run("cases", "export", "last", "--force", "--to", str(home), *who).stdout
        assert machine in exported
    for command in (
        ["work", "--case", "last"],
        ["cases", "show", "last"],
        ["cases", "export", "last"],
        ["report", "last", "-o", "-", "--format", "md"],
        ["ready", "--case", "last"],
        ["cases", "reopen", "last", "--reason", "x"],
    ):
        said = run(*command, "--who", "Cleo")
        assert said.exit_code == 1
        assert "expected a case that Cleo worked on, got none yet; name one: 2" in said.stderr


def test_a_closed_case_is_reopened_with_a_reason(home: Path) -> None:
    assert run("work", "mounted-6", typed="give up, it rains\n").exit_code == 0
    assert "reopen" in run("work", "--case", "last").stdout
    refused = run("work", "--case", "last", typed="6\n")
    assert (refused.exit_code, "it is closed" in refused.stderr or "closed" in refused.stderr) == (
        1,
        True,
    )
    assert run("cases", "reopen", "last").exit_code == 2
    said = run("cases", "reopen", "last", "--reason", "dry again", "--who", "Ann")
    assert (said.exit_code, "Reopened. Go on with: rowfault work --case" in said.stdout) == (
        0,
        True,
    )
    again = run("cases", "reopen", "last", "--reason", "dry again")
    assert "expected a closed case, got one that is open" in again.stderr
    listed = run("cases", "list").stdout
    assert "open" in listed
    assert "with Ann" in listed
    story = run("cases", "show", "last").stdout
    assert "concluded: given up: it rains" in story
    assert "reopened: dry again" in story
    assert "FAILED" in run("work", "--case", "last", typed=f"{READY}\nquit\n").stdout


def test_who_has_a_case_is_in_the_list_the_story_and_the_report(home: Path) -> None:
    assert run("work", "mounted-6", typed="hand-over Ben: it is late\n").exit_code == 0
    assert ", with Ben" in run("cases", "list").stdout
    assert '"owner": "Ben"' in run("cases", "list", "--json").stdout
    assert "Ann handed this case over to Ben" in run("cases", "show", "last").stdout
    markdown = run("report", "last", "-o", "-", "--format", "md").stdout
    assert "- With: Ben" in markdown
    assert "- Handed over: by Ann to Ben, " in markdown
    page = run("report", "last", "-o", "-", "--format", "html").stdout
    assert "<dt>With</dt><dd>" in page
    report = run("report", "last", "-o", "-", "--format", "json").stdout
    assert '"why": "it is late"' in report


@pytest.mark.parametrize("option", ["--who", "--title"])
@pytest.mark.parametrize("text", ["x" * 4001, "a\x1b[2J", "\udcff", ""])
def test_names_and_titles_that_cannot_be_kept_are_refused_by_their_option(
    home: Path, option: str, text: str
) -> None:
    said = run("work", "mounted-6", option, text, typed="quit\n")
    assert (said.exit_code, option in said.stderr) == (2, True)


def test_a_login_without_a_name_is_asked_for_one(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nobody() -> str:
        raise KeyError("getpwuid(): uid not found: 4711")

    monkeypatch.setattr("getpass.getuser", nobody)
    for command in (["work", "mounted-6"], ["cases", "show", "last"]):
        if command[0] == "cases":
            assert run("work", "mounted-6", "--who", "Ann", typed="quit\n").exit_code == 0
        said = run(*command)
        assert (said.exit_code, "--who" in said.stderr) == (1, True)
    assert run("work", "mounted-6", "--scratch", typed="quit\n").exit_code == 0


def test_a_hand_over_is_told_of_by_its_kind() -> None:
    state, _ = talked(["hand-over Ben: it is late"])
    assert isinstance(state.told[-1].event.what, HandedOver)
