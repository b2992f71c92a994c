"""Case files: the story of a machine as YAML or JSON, read strictly.

::

    machine: mounted-12
    history: {first-hookup: "yes"}
    circumstances: {engine: "on"}            # of every run
    runs:
      - check: bleed
        rows: {fail: 12, pass: rest}
      - check: response
        pattern: PPPPPPPPPPPF
        circumstances: {oil: 54 C}           # of this run
    readings:
      - {measurement: coil-resistance, part: row-12/valve, value: 7.4 ohm}
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import Field

from diagnose.cases.case import Case, Reading, Run
from diagnose.cases.collecting import collected, located, refuse
from diagnose.cases.pattern import read_pattern
from diagnose.cases.values import circumstance_value, reading_of, typeable
from diagnose.errors import FileProblems, Problem, UnknownName
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.model import Strict, Text, check_model, in_order
from diagnose.knowledge.strictyaml import Document, read_file
from diagnose.knowledge.wrong import Fault, Wrong
from diagnose.knowledge.wrong import Path as Way
from diagnose.machine.graph import SEE, Machine, load_machine

Said = str | int | float | bool
"""A value as it was written; a bare number is text too, and its unit will be asked for."""


class RunEntry(Strict):
    """One run: its check and its results, as a pattern or as rows by word."""

    check: Text
    pattern: Text | None = None
    rows: Mapping[str, Said] | None = None
    circumstances: Mapping[str, Said] = Field(default_factory=dict)

    @property
    def text(self) -> str:
        """The results as they would be typed.

        >>> RunEntry(check="bleed", rows={"fail": 12, "pass": "rest"}).text
        'fail:12,pass:rest'
        """
        if self.rows:
            return ",".join(f"{word}:{rows}" for word, rows in self.rows.items())
        return self.pattern or ""


class ReadingEntry(Strict):
    """One measurement of, or look at, a part."""

    measurement: Text
    part: Text
    value: Said


class CaseFile(Strict):
    """A case as its file tells it."""

    machine: Text
    history: Mapping[str, Said] = Field(default_factory=dict)
    circumstances: Mapping[str, Said] = Field(default_factory=dict)
    runs: tuple[RunEntry, ...] = ()
    readings: tuple[ReadingEntry, ...] = ()

    def faults(self) -> Iterator[Fault]:
        """Runs without results, or with results told twice.

        >>> [(path, wrong)] = CaseFile(machine="mine", runs=[{"check": "bleed"}]).faults()
        >>> path, wrong.got
        (('runs', 0), 'neither')
        """
        for place, run in enumerate(self.runs):
            if (run.pattern is None) == (run.rows is None):
                got = "neither" if run.rows is None else "both"
                yield ("runs", place), Wrong("either pattern or rows", got, "keep one of them")


def read_case_file(
    path: Path | str, knowledge: Knowledge | None = None, machine: Machine | None = None
) -> tuple[Machine, Case]:
    """The machine and the case that a YAML or JSON file tells of.

    Parameters
    ----------
    machine: the machine if it is known already; the file must then name the same.

    Raises
    ------
    FileProblems: everything that is wrong in the file, each with its line.
    """
    return case_of(read_file(path), knowledge or load_knowledge(), machine)


def case_of(
    document: Document, knowledge: Knowledge, machine: Machine | None = None
) -> tuple[Machine, Case]:
    r"""The same for a document in hand.

    >>> from diagnose.knowledge.strictyaml import read_text
    >>> text = "machine: mounted-6\nruns: [{check: bleed, rows: {fail: 6, pass: rest}}]"
    >>> machine, case = case_of(read_text(text, "case.yaml"), load_knowledge())
    >>> machine.id, case.runs[0].pattern
    ('mounted-6', 'PPPPPF')
    """
    file, problems = check_model(document, CaseFile)
    built = None
    if file is not None:
        with collected(problems):
            built = _machine(file, document, knowledge, machine)
    if file is None or built is None:
        raise FileProblems(in_order(problems))
    case = _Reader(document, built, knowledge, problems).case(file)
    refuse(in_order(problems))
    return built, case


def _machine(
    file: CaseFile, document: Document, knowledge: Knowledge, given: Machine | None
) -> Machine:
    where, name = document.place(("machine",)), file.machine
    beside = Path(document.source).parent / name
    try:
        machine = load_machine(str(beside) if "/" in name else name, knowledge)
    except UnknownName:
        raise UnknownName(where, "a machine", name, knowledge.layouts, SEE) from None
    if given is not None and machine.id != given.id:
        remedy = "leave the machine out of the command, or correct the file"
        refuse([Problem(where, f"the machine {given.id}, as in the command", name, remedy)])
    return given or machine


@dataclass
class _Reader:
    """Turns the entries of a file into a case and collects what is wrong on the way."""

    document: Document
    machine: Machine
    knowledge: Knowledge
    problems: list[Problem] = field(default_factory=list)

    def case(self, file: CaseFile) -> Case:
        """The case as far as it can be read."""
        history = self.notes(file.history, ("history",), "case")
        for_all = self.notes(file.circumstances, ("circumstances",), "run")
        runs = [run for nth, entry in enumerate(file.runs) for run in self.run(nth, entry, for_all)]
        readings = [
            each for nth, entry in enumerate(file.readings) for each in self.reading(nth, entry)
        ]
        past = {key: str(value) for key, value in history.items()}
        return Case(self.machine.id, tuple(runs), tuple(readings), past)

    def notes(self, said: Mapping[str, Said], path: Way, scope: str) -> dict[str, float | str]:
        """Circumstances of one scope, by id."""
        known = typeable(self.knowledge)
        of_scope = [each.id for each in known.values() if each.scope == scope]
        read: dict[str, float | str] = {}
        for key, value in said.items():
            where = self.document.place((*path, key))
            with collected(self.problems):
                if key not in of_scope:
                    raise UnknownName(where, _scope_words(scope), key, of_scope)
                with located(where):
                    read[key] = circumstance_value(known[key], _as_text(value))
        return read

    def run(self, nth: int, entry: RunEntry, for_all: Mapping[str, float | str]) -> Iterator[Run]:
        """The run, unless its check or its results cannot be used."""
        path = ("runs", nth)
        own = self.notes(entry.circumstances, (*path, "circumstances"), "run")
        with collected(self.problems):
            if entry.check not in self.knowledge.checks:
                where = self.document.place((*path, "check"))
                raise UnknownName(where, "a check", entry.check, self.knowledge.checks)
        if (entry.pattern is None) == (entry.rows is None):
            return
        with collected(self.problems):
            where = self.document.place((*path, "rows" if entry.pattern is None else "pattern"))
            results = read_pattern(entry.text, self.machine.rows, where)
            yield Run(nth + 1, entry.check, results, {**for_all, **own})

    def reading(self, nth: int, entry: ReadingEntry) -> Iterator[Reading]:
        """The reading, unless its part or its value cannot be used."""
        with collected(self.problems), located(self.document.place(("readings", nth))):
            yield reading_of(
                self.machine, self.knowledge, entry.measurement, entry.part, _as_text(entry.value)
            )


def _as_text(said: Said) -> str:
    """The value as it stood in the file."""
    return str(said).lower() if isinstance(said, bool) else str(said)


def _scope_words(scope: str) -> str:
    return "a circumstance of the machine's past" if scope == "case" else "a circumstance of runs"
