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

Where work was done between runs, ``story`` takes the place of ``runs`` and ``readings`` and tells
everything in order::

    story:
      - {check: response, pattern: PPPPPPPPPPPF}
      - {swap: swap-coil, part: row-12/valve, with: row-11/valve}
      - {check: response, pattern: "..........FP"}
      - {remedy: replace-coil, part: row-11/valve}
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import Field

from diagnose.errors import FileProblems, Problem, UnknownName
from diagnose.formats.model import Strict, Text, check_model, in_order
from diagnose.formats.strictyaml import Document, read_file
from diagnose.formats.value_problem import FieldFault, Wrong
from diagnose.formats.value_problem import Path as Way
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import SEE, Machine, load_machine
from diagnose.observations.case import Case
from diagnose.observations.collecting import collected, located, refuse
from diagnose.observations.events import History, Observed, Reading, Run, Work
from diagnose.observations.extent import too_much
from diagnose.observations.pattern import read_pattern
from diagnose.observations.values import DONE, circumstance_value, reading_of, typeable, work_of
from diagnose.tolerances import MOST_NOTES

_Said = str | int | float | bool
"""A value as it was written; a bare number is text too, and its unit will be asked for."""


class RunEntry(Strict):
    """One run: its check and its results, as a pattern or as rows by word."""

    check: Text
    pattern: Text | None = None
    rows: Mapping[str, _Said] | None = None
    circumstances: Mapping[str, _Said] = Field(default_factory=dict)

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
    value: _Said


class WorkEntry(Strict):
    """A remedy that was done, or a swap with what it changed places."""

    remedy: Text | None = None
    swap: Text | None = None
    part: Text
    other: Text | None = Field(default=None, alias="with")


class StoryEntry(Strict):
    """One thing that happened: a run, a reading, a remedy or a swap."""

    check: Text | None = None
    pattern: Text | None = None
    rows: Mapping[str, _Said] | None = None
    circumstances: Mapping[str, _Said] = Field(default_factory=dict)
    measurement: Text | None = None
    remedy: Text | None = None
    swap: Text | None = None
    part: Text | None = None
    value: _Said | None = None
    other: Text | None = Field(default=None, alias="with")

    @property
    def sort(self) -> str:
        """Which of `_SORTS` it is; empty when it is none or more than one.

        >>> StoryEntry(remedy="clean-valve", part="row-6/valve").sort, StoryEntry(value="no").sort
        ('remedy', '')
        """
        told = [sort for sort in _SORTS if getattr(self, sort) is not None]
        return told[0] if len(told) == 1 else ""

    def wrong(self) -> Iterator[FieldFault]:
        """What does not go together.

        >>> [(_, wrong)] = StoryEntry(check="bleed", pattern="PF", part="row-6/valve").wrong()
        >>> wrong.expected, wrong.remedy
        ("no 'part' with check", 'leave it out')
        """
        if not self.sort:
            yield (), Wrong(f"one of {', '.join(_SORTS)}", "none or several", "one thing an entry")
            return
        given = {name for name in FIELDS if getattr(self, name) not in (None, {})}
        allowed = _SORTS[self.sort]
        for name in sorted(given - allowed):
            yield (
                (),
                Wrong(f"no {_ALIASES.get(name, name)!r} with {self.sort}", "one", "leave it out"),
            )
        if self.sort == "check":
            if (self.pattern is None) == (self.rows is None):
                got = "neither" if self.rows is None else "both"
                yield (), Wrong("either pattern or rows", got, "keep one of them")
        else:
            for name in sorted(allowed - given):
                yield (), Wrong(f"the field {_ALIASES.get(name, name)!r}", "nothing", "add it")


_SORTS: Mapping[str, frozenset[str]] = {
    "check": frozenset({"pattern", "rows", "circumstances"}),
    "measurement": frozenset({"part", "value"}),
    "remedy": frozenset({"part"}),
    "swap": frozenset({"part", "other"}),
}
"""What an entry of a story may be, and the fields that go with it."""

FIELDS = ("pattern", "rows", "circumstances", "part", "value", "other")
_ALIASES = {"other": "with"}


class CaseFile(Strict):
    """A case as its file tells it."""

    machine: Text
    history: Mapping[str, _Said] = Field(default_factory=dict)
    circumstances: Mapping[str, _Said] = Field(default_factory=dict)
    runs: tuple[RunEntry, ...] = ()
    readings: tuple[ReadingEntry, ...] = ()
    story: tuple[StoryEntry, ...] = ()

    def faults(self) -> Iterator[FieldFault]:
        """Runs without results, or with results told twice; a story beside runs or readings.

        >>> [(path, wrong)] = CaseFile(machine="mine", runs=[{"check": "bleed"}]).faults()
        >>> path, wrong.got
        (('runs', 0), 'neither')
        """
        overfull = self.overfull()
        if overfull:
            yield from overfull
            return
        if self.story and (self.runs or self.readings):
            yield ("story",), Wrong("either story, or runs and readings", "both", "keep one")
        for place, entry in enumerate(self.story):
            yield from ((("story", place, *path), wrong) for path, wrong in entry.wrong())
        for place, run in enumerate(self.runs):
            if (run.pattern is None) == (run.rows is None):
                got = "neither" if run.rows is None else "both"
                yield ("runs", place), Wrong("either pattern or rows", got, "keep one of them")

    def overfull(self) -> list[FieldFault]:
        """What there is too much of to look at it one by one.

        >>> story = [{"remedy": "clean-valve", "part": "row-6"}] * 300
        >>> [str(wrong) for _, wrong in CaseFile(machine="mine", story=story).overfull()]
        ['expected at most 200 remedies and swaps in a case, got 300']
        """
        sorts = Counter(_counted_as(entry) for entry in self.story)
        runs, readings = len(self.runs) + sorts["run"], len(self.readings) + sorts["reading"]
        path = ("story",) if self.story else ("runs",) if self.runs else ("readings",)
        found: list[FieldFault] = [
            (path, wrong) for wrong in too_much(runs, readings, sorts["work"])
        ]
        notes = [self.history, self.circumstances]
        notes += [run.circumstances for run in self.runs]
        notes += [entry.circumstances for entry in self.story]
        most = max(map(len, notes))
        if most > MOST_NOTES:
            expected = f"at most {MOST_NOTES} circumstances"
            wrong = Wrong(expected, f"{most:,}", "keep those that are known")
            found.append((("circumstances",), wrong))
        return found


def _counted_as(entry: StoryEntry) -> str:
    """A run, a reading, or else work: what tells nothing is as much to look at."""
    return "run" if entry.check else "reading" if entry.measurement else "work"


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

    >>> from diagnose.paths import shipped
    >>> machine, case = read_case_file(shipped().casebook / "cold-morning.yaml")
    >>> machine.id, case.runs[0].pattern, dict(case.runs[0].circumstances)
    ('mounted-12', 'FFFFFFFFFFFF', {'oil': 15.0, 'engine': 'on'})
    """
    return read_case(read_file(path), knowledge or load_knowledge(), machine)


def read_case(
    document: Document, knowledge: Knowledge, machine: Machine | None = None
) -> tuple[Machine, Case]:
    r"""The same for a document in hand.

    >>> from diagnose.formats.strictyaml import read_text
    >>> text = "machine: mounted-6\nruns: [{check: bleed, rows: {fail: 6, pass: rest}}]"
    >>> machine, case = read_case(read_text(text, "case.yaml"), load_knowledge())
    >>> machine.id, case.runs[0].pattern
    ('mounted-6', 'PPPPPF')
    """
    file, problems = check_model(document, CaseFile)
    built = None
    if file is not None:
        with collected(problems):
            built = _machine(file, document, knowledge, machine)
    if file is None or built is None or file.overfull():
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
        told: list[Observed] = [History({key: str(value) for key, value in history.items()})]
        for nth, entry in enumerate(file.runs):
            told += self.run(("runs", nth), entry, for_all)
        for nth, reading in enumerate(file.readings):
            told += self.reading(("readings", nth), reading)
        for nth, one in enumerate(file.story):
            told += self.entry(("story", nth), one, for_all)
        return Case.of(self.machine.id, told)

    def entry(
        self, path: Way, entry: StoryEntry, for_all: Mapping[str, float | str]
    ) -> Iterator[Run | Reading | Work]:
        """What one entry of a story tells, if it can be used."""
        if entry.check is not None:
            run = RunEntry(
                check=entry.check,
                pattern=entry.pattern,
                rows=entry.rows,
                circumstances=entry.circumstances,
            )
            yield from self.run(path, run, for_all)
        elif entry.measurement and entry.part and entry.value is not None:
            read = ReadingEntry(measurement=entry.measurement, part=entry.part, value=entry.value)
            yield from self.reading(path, read)
        elif entry.part:
            act, text = entry.remedy or entry.swap or "", entry.other or DONE
            with collected(self.problems), located(self.document.place(path)):
                yield work_of(self.machine, self.knowledge, act, entry.part, text)

    def notes(self, said: Mapping[str, _Said], path: Way, scope: str) -> dict[str, float | str]:
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

    def run(self, path: Way, entry: RunEntry, for_all: Mapping[str, float | str]) -> Iterator[Run]:
        """The run, unless its check or its results cannot be used."""
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
            yield Run(0, entry.check, results, {**for_all, **own})

    def reading(self, path: Way, entry: ReadingEntry) -> Iterator[Reading]:
        """The reading, unless its part or its value cannot be used."""
        with collected(self.problems), located(self.document.place(path)):
            yield reading_of(
                self.machine, self.knowledge, entry.measurement, entry.part, _as_text(entry.value)
            )


def _as_text(said: _Said) -> str:
    """The value as it stood in the file."""
    return str(said).lower() if isinstance(said, bool) else str(said)


def _scope_words(scope: str) -> str:
    return "a circumstance of the machine's past" if scope == "case" else "a circumstance of runs"
