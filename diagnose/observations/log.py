"""Logged results: CSV with a line for each row of each run.

::

    run,check,row,result
    1,response,1,pass
    1,response,2,fail

The columns may stand in any order, with others beside them, parted by commas, semicolons or
tabs. Rows that are not logged were not run.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest
from pathlib import Path

from diagnose.errors import Place, Problem, UnknownName, quoted
from diagnose.formats.textfile import read_text_file, refused
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.collecting import ProblemLog, refuse
from diagnose.observations.events import Run
from diagnose.observations.extent import KEEP_RUNS
from diagnose.observations.pattern import RESULT_LETTERS, RESULT_WORDS, nothing_ran
from diagnose.observations.result import Result
from diagnose.tolerances import LARGEST_LOG, MOST_COLUMNS, MOST_RUNS

COLUMNS = ("run", "check", "row", "result")
_RESULTS = (
    {letter.lower(): result for letter, result in RESULT_LETTERS.items()}
    | RESULT_WORDS
    | {"not run": Result.NOT_RUN}
)
UNCLOSED = "a quote that is opened and never closed"
ONE_RESULT = "one result for each row of a run"
ONE_CHECK = "one check for each run"


def read_log(path: Path | str, machine: Machine, knowledge: Knowledge | None = None) -> Case:
    """The runs that a log tells of, in order of their numbers.

    Raises
    ------
    FileProblems: everything that is wrong in the file, each with its line.
    """
    source = str(path)
    return log_of(read_text_file(path, LARGEST_LOG), source, machine, knowledge or load_knowledge())


def log_of(text: str, source: str, machine: Machine, knowledge: Knowledge) -> Case:
    r"""The same for text in hand; ``source`` is the name that messages give it.

    >>> from diagnose.machine.graph import load_machine
    >>> text = "run,check,row,result\n1,bleed,1,P\n1,bleed,3,F\n"
    >>> log_of(text, "log.csv", load_machine("mounted-6"), load_knowledge()).runs[0].pattern
    'P.F...'
    """
    log = _Log(machine, knowledge)
    for line, values in _records(text, source):
        log.take(values, Place(source, line))
    refuse([*log.told.all(), *log.empty(source)])
    return Case(machine.id, tuple(log.runs()))


@dataclass
class _Entry:
    """A logged run: the line it began in, its check, and its marks with their lines."""

    line: int | None
    check: str
    marks: dict[int, tuple[Result, int | None]] = field(default_factory=dict)


@dataclass
class _Log:
    """What was logged so far."""

    machine: Machine
    knowledge: Knowledge
    entries: dict[int, _Entry] = field(default_factory=dict)
    told: ProblemLog = field(default_factory=ProblemLog)

    def take(self, values: Mapping[str, str], where: Place) -> None:
        """Add one line, or what is wrong with it to what is told.

        >>> from diagnose.machine.graph import load_machine
        >>> log = _Log(load_machine("mounted-6"), load_knowledge())
        >>> log.take({"run": "1", "check": "bleed", "row": "2", "result": "pass"}, Place("log", 2))
        >>> log.take({"run": "1", "check": "bleed", "row": "9", "result": "pass"}, Place("log", 3))
        >>> [str(problem) for problem in log.told.problems]
        ["log:3: expected a row from 1 to 6, got '9'"]
        """
        rows = self.machine.rows
        run = self._whole(values["run"], "a run number from 1", 9999, where)
        row = self._whole(values["row"], f"a row from 1 to {rows}", rows, where)
        check, result = self._check(values["check"], where), self._result(values["result"], where)
        if run and row and check and result:
            entry = self._entry(run, check, where)
            if entry:
                self._mark(entry, check, row, result, where)

    def runs(self) -> Iterator[Run]:
        """The runs in order of number, counted anew from 1.

        >>> from diagnose.machine.graph import load_machine
        >>> log = _Log(load_machine("mounted-6"), load_knowledge())
        >>> log.take({"run": "7", "check": "bleed", "row": "2", "result": "pass"}, Place("log", 2))
        >>> [(run.index, run.pattern) for run in log.runs()]
        [(1, '.P....')]
        """
        for index, (_, entry) in enumerate(sorted(self.entries.items()), start=1):
            marks = {row: result for row, (result, _) in entry.marks.items()}
            rows = range(1, self.machine.rows + 1)
            yield Run(index, entry.check, tuple(marks.get(row, Result.NOT_RUN) for row in rows))

    def empty(self, source: str) -> Iterator[Problem]:
        """Runs in which no row was run.

        >>> from diagnose.machine.graph import load_machine
        >>> log = _Log(load_machine("mounted-6"), load_knowledge())
        >>> log.take({"run": "1", "check": "bleed", "row": "2", "result": "."}, Place("log", 2))
        >>> [str(problem.where) for problem in log.empty("log")]
        ['log:2']
        """
        for entry in self.entries.values():
            if all(result is Result.NOT_RUN for result, _ in entry.marks.values()):
                yield nothing_ran(Place(source, entry.line))

    def _entry(self, run: int, check: str, where: Place) -> _Entry | None:
        """The logged run, a new one where it is the first of it; None when there are too many."""
        if run not in self.entries and len(self.entries) >= MOST_RUNS:
            self._expect(f"at most {MOST_RUNS} runs", f"run {run} too", where, KEEP_RUNS)
            return None
        return self.entries.setdefault(run, _Entry(where.line, check))

    def _mark(self, entry: _Entry, check: str, row: int, result: Result, where: Place) -> None:
        if check != entry.check:
            got = f"{check} here and {entry.check} in line {entry.line}"
            self._expect(ONE_CHECK, got, where, "give one another number")
            return
        seen, line = entry.marks.setdefault(row, (result, where.line))
        if seen is not result:
            got = f"{_word(result)} here and {_word(seen)} in line {line} for row {row}"
            remedy = "keep the one that was seen; a row checked twice belongs in two runs"
            self._expect(ONE_RESULT, got, where, remedy)

    def _whole(self, text: str, expected: str, most: int, where: Place) -> int | None:
        if text.isascii() and text.isdigit() and len(text) < 7 and 1 <= int(text) <= most:
            return int(text)
        self._expect(expected, quoted(text), where)
        return None

    def _check(self, name: str, where: Place) -> str | None:
        if name in self.knowledge.checks:
            return name
        known = self.knowledge.checks
        self.told.add("a check", where, lambda: UnknownName(where, "a check", name, known).problem)
        return None

    def _result(self, text: str, where: Place) -> Result | None:
        if text in _RESULTS:
            return _RESULTS[text]
        self._expect("pass, fail, unsure or not run (P, F, ? or .)", quoted(text), where)
        return None

    def _expect(self, expected: str, got: str, where: Place, remedy: str = "") -> None:
        self.told.add(expected, where, lambda: Problem(where, expected, got, remedy))


def _records(text: str, source: str) -> Iterator[tuple[int, Mapping[str, str]]]:
    """Each line that is not empty, by column name, with its number."""
    lines = text.splitlines(keepends=True)
    reader = csv.reader(lines, delimiter=_delimiter(text), strict=True)
    begun = 1
    try:
        header = [name.strip().lower() for name in next(reader, [])]
        _check_header(header, Place(source, 1))
        begun = reader.line_num + 1
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield reader.line_num, _by_name(header, cells)
            begun = reader.line_num + 1
    except csv.Error as error:
        got = UNCLOSED if "unexpected end of data" in str(error) else str(error)
        raise refused(Place(source, begun), "readable CSV", got, "look at the quotes") from error


def _by_name(header: Sequence[str], cells: Sequence[str]) -> Mapping[str, str]:
    """The cells by column; cells that a line lacks are empty."""
    values = [cell.strip().lower() for cell in cells]
    return {name: value for name, value in zip_longest(header, values, fillvalue="") if name}


def _delimiter(text: str) -> str:
    r"""What parts the columns: whatever the first line has most of.

    >>> _delimiter("run;check;row;result\n1;bleed;1;P"), _delimiter("run")
    (';', ',')
    """
    header = text.partition("\n")[0]
    return max(",;\t", key=header.count)


def _check_header(header: Sequence[str], where: Place) -> None:
    if len(header) > MOST_COLUMNS:
        remedy = "leave out those that are not needed"
        raise refused(where, f"at most {MOST_COLUMNS} columns", f"{len(header):,}", remedy)
    missing = [name for name in COLUMNS if name not in header]
    if missing:
        got = f"no {' and no '.join(missing)}"
        remedy = f"let the first line be {','.join(COLUMNS)}"
        raise refused(where, f"the columns {', '.join(COLUMNS)}", got, remedy)


def _word(result: Result) -> str:
    return result.name.lower().replace("_", " ")
