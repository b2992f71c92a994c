"""What is too much is refused at once, with where it stands, how much came and what to do."""

from __future__ import annotations

import json
import time
from collections.abc import Callable

import pytest

from diagnose import tolerances as limits
from diagnose.errors import FileProblems, Place
from diagnose.formats.strictyaml import read_text
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.archive import read_story
from diagnose.observations.case import Case
from diagnose.observations.casefile import read_case
from diagnose.observations.entries import Noted
from diagnose.observations.events import Reading, Run
from diagnose.observations.log import log_of
from diagnose.observations.pattern import read_pattern
from diagnose.observations.typed import read_typed
from diagnose.observations.validation import Validation

KNOWN, MACHINE = load_knowledge(), load_machine("mounted-6")
HEADER = "run,check,row,result\n"
MANY = 100_000
"""Lines of a log; a tenth of a second each ten thousand."""


def logged(*lines: str) -> list[str]:
    """What is wrong with a log."""
    with pytest.raises(FileProblems) as caught:
        log_of(HEADER + "\n".join(lines), "log.csv", MACHINE, KNOWN)
    return list(map(str, caught.value.problems))


def in_file(**entries: object) -> Callable[[], object]:
    text = json.dumps({"machine": "mounted-6", **entries})
    return lambda: read_case(read_text(text, "case.json"), KNOWN)


def in_story(*whats: object) -> Callable[[], object]:
    opening = {"kind": "opened", "case": "20260301-a", "machine": "mounted-6"}
    events = [
        {"id": f"{place:032x}", "at": "2026-03-01T00:00:00Z", "who": "A", "what": what}
        for place, what in enumerate((opening, *whats))
    ]
    text = json.dumps({"schema": "rowfault/case/1", "events": events})
    return lambda: read_story(read_text(text, "a.json"), KNOWN)


RUN = {"check": "bleed", "pattern": "PPPPPF"}
READ = {"measurement": "coil-resistance", "part": "row-2/valve", "value": "7.4 ohm"}
WORK = {"remedy": "replace-coil", "part": "row-2/valve"}
TOLD_RUN, TOLD_NOTE = {"kind": "run", **RUN}, {"kind": "note", "text": "x"}
TOLD_READ = {"kind": "reading", **READ, "value": 7.4}
OVER = limits.MOST_RUNS + 1
RUNS = f"expected at most {limits.MOST_RUNS} runs in a case, got {OVER}; keep the runs that"
READINGS = f"expected at most {limits.MOST_READINGS} readings in a case, got 501; keep the last"
WORKS = f"expected at most {limits.MOST_WORK} remedies and swaps in a case, got 201; begin a new"

TOO_MUCH = {
    "runs of a file": (in_file(runs=[RUN] * OVER), f"case.json:1: {RUNS}"),
    "readings of a file": (in_file(readings=[READ] * 501), f"case.json:1: {READINGS}"),
    "work of a story file": (in_file(story=[RUN, *[WORK] * 201]), f"case.json:1: {WORKS}"),
    "runs of a story file": (in_file(story=[RUN] * OVER), f"case.json:1: {RUNS}"),
    "circumstances": (
        in_file(circumstances={f"c{n}": 1 for n in range(101)}, runs=[RUN]),
        "case.json:1: expected at most 100 circumstances, got 101",
    ),
    "runs of a story": (in_story(*[TOLD_RUN] * OVER), f"a.json:1: {RUNS}"),
    "readings of a story": (in_story(*[TOLD_READ] * 501), f"a.json:1: {READINGS}"),
    "events of a story": (
        in_story(*[TOLD_NOTE] * limits.MOST_EVENTS),
        "a.json:1: expected at most 3,000 events, got 3,001; begin a new case",
    ),
    "runs typed": (
        lambda: read_typed(MACHINE, ["bleed=PPPPPF"] * OVER, KNOWN),
        f"what was told: {RUNS}",
    ),
    "words typed": (
        lambda: read_typed(MACHINE, ["bleed=PPPPPF"] * (limits.MOST_WORDS + 1), KNOWN),
        "what was typed: expected at most 800 things on one line, got 801; write them into",
    ),
    "a long word": (
        lambda: read_typed(MACHINE, ["bleed=" + "fail:1," * 1000], KNOWN),
        "expected at most 2,000 letters, got 7,006; name rows as ranges",
    ),
    "a wide pattern": (
        lambda: read_pattern("1-6," * 1000, 6, Place("bleed")),
        "bleed: expected at most 2,000 letters, got 4,000; write ranges",
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize(("read", "message"), TOO_MUCH.values(), ids=TOO_MUCH.keys())
def test_what_is_too_much_is_told_at_once(read: Callable[[], object], message: str) -> None:
    with pytest.raises(FileProblems) as caught:
        read()
    [problem] = caught.value.problems
    assert message in str(problem)


@pytest.mark.slow
def test_a_case_as_large_as_is_allowed_is_read_at_every_door() -> None:
    runs, reads = [RUN] * limits.MOST_RUNS, [READ] * limits.MOST_READINGS
    works = [WORK] * limits.MOST_WORK
    in_file(story=[*runs, *reads, *works])()
    in_story(*[TOLD_RUN] * limits.MOST_RUNS, *[TOLD_READ] * limits.MOST_READINGS)()
    words = ["bleed=PPPPPF", "coil-resistance@row-2=7.4ohm", "replace-coil@row-2=done"]
    told = [word for word, most in zip(words, (100, 500, 200), strict=True) for _ in range(most)]
    case = read_typed(MACHINE, told, KNOWN)
    assert (len(case.runs), len(case.readings), len(case.work)) == (100, 500, 200)


def test_what_was_told_before_counts_too() -> None:
    before = read_typed(MACHINE, ["bleed=PPPPPF"] * limits.MOST_RUNS, KNOWN)
    with pytest.raises(FileProblems, match="at most 100 runs"):
        read_typed(MACHINE, ["bleed=PPPPPF"], KNOWN, before)


def test_a_full_case_takes_no_more_but_can_still_be_corrected() -> None:
    full = read_typed(MACHINE, ["bleed=PPPPPF"] * limits.MOST_RUNS, KNOWN)
    read = Reading("coil-resistance", "row-2/valve", 7.4)
    fitting = Validation(MACHINE, KNOWN, full)
    run = Run.of("bleed", "PPPPPF")
    assert [str(wrong) for _, wrong in fitting.faults(run)] == [RUNS.partition(";")[0]]
    assert list(fitting.faults(Noted("x"))) == []
    assert list(Validation(MACHINE, KNOWN, Case("mounted-6")).faults(read)) == []


LINES = {
    "an unknown check": "1,chk{},1,P",
    "a row that is none": "1,bleed,{}9,P",
    "a result that is none": "1,bleed,1,x{}",
    "a run that is none": "x{},bleed,1,P",
    "nothing right": "x{},chk,9{},y",
    "two results of a row": "1,bleed,1,F",
    "another check of a run": "1,response,1,P",
}


@pytest.mark.slow
@pytest.mark.parametrize("line", LINES.values(), ids=LINES.keys())
def test_a_log_with_thousands_of_faults_is_told_in_few_lines_and_soon(line: str) -> None:
    begun = time.process_time()
    told = logged("1,bleed,1,P", *(line.format(n, n) for n in range(MANY)))
    assert time.process_time() - begun < 6
    assert len(told) <= 4 * (limits.MOST_TOLD + 1)
    assert f"got {MANY - limits.MOST_TOLD:,} more of this kind, the last in line" in told[-1]
    assert told[-1].startswith("log.csv:8: ")


def test_a_log_of_too_many_runs_says_which_is_the_first_too_many() -> None:
    told = logged(*(f"{n},bleed,1,P" for n in range(1, 301)))
    assert told[0] == (
        f"log.csv:{OVER + 1}: expected at most {limits.MOST_RUNS} runs, got run {OVER} too; "
        "keep the runs that belong to this trouble"
    )


def test_a_log_of_too_many_columns_is_refused_before_it_is_read() -> None:
    text = HEADER.strip() + ",x" * 100 + "\n" + "1\n" * 1000
    with pytest.raises(FileProblems, match="at most 100 columns, got 104"):
        log_of(text, "log.csv", MACHINE, KNOWN)
