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

from diagnose.cases.case import Case, Result, Run
from diagnose.cases.collecting import collected, refuse
from diagnose.cases.pattern import LETTERS, WORDS, nothing_ran
from diagnose.errors import FileProblems, InputError, Place, Problem, UnknownName
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine
from diagnose.reading import read_at_most

COLUMNS = ("run", "check", "row", "result")
RESULTS = (
    {letter.lower(): result for letter, result in LETTERS.items()}
    | WORDS
    | {"not run": Result.NOT_RUN}
)
UNCLOSED = "a quote that is opened and never closed"
LARGEST_BYTES = 5_000_000


def read_log(path: Path | str, machine: Machine, knowledge: Knowledge | None = None) -> Case:
    """The runs that a log tells of, in order of their numbers.

    Raises
    ------
    FileProblems: everything that is wrong in the file, each with its line.
    """
    source = str(path)
    return log_of(_text(source), source, machine, knowledge or load_knowledge())


def log_of(text: str, source: str, machine: Machine, knowledge: Knowledge) -> Case:
    r"""The same for text in hand; ``source`` is the name that messages give it.

    >>> from diagnose.machine.graph import load_machine
    >>> text = "run,check,row,result\n1,bleed,1,P\n1,bleed,3,F\n"
    >>> log_of(text, "log.csv", load_machine("mounted-6"), load_knowledge()).runs[0].pattern
    'P.F...'
    """
    log = _Log(machine, knowledge)
    problems: list[Problem] = []
    for line, values in _records(text, source):
        with collected(problems):
            log.take(values, Place(source, line))
    problems += log.empty(source)
    refuse(problems)
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

    def take(self, values: Mapping[str, str], where: Place) -> None:
        """Add one line. Raises `InputError` or `FileProblems`.

        >>> from diagnose.machine.graph import load_machine
        >>> log = _Log(load_machine("mounted-6"), load_knowledge())
        >>> log.take({"run": "1", "check": "bleed", "row": "2", "result": "pass"}, Place("log", 2))
        >>> log.take({"run": "1", "check": "bleed", "row": "9", "result": "pass"}, Place("log", 3))
        Traceback (most recent call last):
        diagnose.errors.FileProblems: log:3: expected a row from 1 to 6, got '9'
        """
        problems: list[Problem] = []
        with collected(problems):
            run = _whole(values["run"], "a run number from 1", 9999, where)
        with collected(problems):
            row = _whole(
                values["row"], f"a row from 1 to {self.machine.rows}", self.machine.rows, where
            )
        with collected(problems):
            check = self._check(values["check"], where)
        with collected(problems):
            result = _result(values["result"], where)
        refuse(problems)
        self._mark(
            self.entries.setdefault(run, _Entry(where.line, check)), check, row, result, where
        )

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

    def _check(self, name: str, where: Place) -> str:
        if name not in self.knowledge.checks:
            raise UnknownName(where, "a check", name, self.knowledge.checks)
        return name

    def _mark(self, entry: _Entry, check: str, row: int, result: Result, where: Place) -> None:
        if check != entry.check:
            got = f"{check} here and {entry.check} in line {entry.line}"
            raise InputError(
                Problem(where, "one check for each run", got, "give one another number")
            )
        seen, line = entry.marks.setdefault(row, (result, where.line))
        if seen is not result:
            got = f"{_word(result)} here and {_word(seen)} in line {line} for row {row}"
            remedy = "keep the one that was seen; a row checked twice belongs in two runs"
            raise InputError(Problem(where, "one result for each row of a run", got, remedy))


def _text(source: str) -> str:
    try:
        raw = read_at_most(source, LARGEST_BYTES)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise _refused(Place(source), "a file that can be read", str(reason).lower()) from error
    if len(raw) > LARGEST_BYTES:
        raise _refused(Place(source), f"at most {LARGEST_BYTES:,} bytes", "more", "split the file")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        got = f"byte 0x{raw[error.start]:02x}"
        raise _refused(Place(source, line), "text in UTF-8", got, "save it as UTF-8") from error


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
        raise _refused(Place(source, begun), "readable CSV", got, "look at the quotes") from error


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
    missing = [name for name in COLUMNS if name not in header]
    if missing:
        got = f"no {' and no '.join(missing)}"
        remedy = f"let the first line be {','.join(COLUMNS)}"
        raise _refused(where, f"the columns {', '.join(COLUMNS)}", got, remedy)


def _whole(text: str, expected: str, most: int, where: Place) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 7 and 1 <= int(text) <= most):
        raise InputError(Problem(where, expected, repr(text)))
    return int(text)


def _result(text: str, where: Place) -> Result:
    if text not in RESULTS:
        raise InputError(Problem(where, "pass, fail, unsure or not run (P, F, ? or .)", repr(text)))
    return RESULTS[text]


def _word(result: Result) -> str:
    return result.name.lower().replace("_", " ")


def _refused(where: Place, expected: str, got: str, remedy: str = "") -> FileProblems:
    return FileProblems([Problem(where, expected, got, remedy)])
