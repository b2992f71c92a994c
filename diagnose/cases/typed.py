"""Read what was typed after the machine's name: results, circumstances, readings, history.

Each argument is one of::

    CHECK=PATTERN              response=PPPF.?      a run
    CIRCUMSTANCE=VALUE         oil=118F             of the run before it; of all when typed first
    CIRCUMSTANCE=VALUE         first-hookup=yes     of the machine's past
    MEASUREMENT@PLACE=VALUE    coil-resistance@row-6=7.4ohm
    REMEDY@PLACE=done          replace-coil@row-6=done      before the runs typed after it
    SWAP@PLACE=PLACE           swap-coil@row-6=row-5
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from diagnose.cases.case import Case, Reading, Result, Run, Work
from diagnose.cases.collecting import collected, located, refuse
from diagnose.cases.extent import too_much_in
from diagnose.cases.joining import joined
from diagnose.cases.pattern import read_pattern
from diagnose.cases.values import (
    circumstance_value,
    measurement_ids,
    reading_of,
    remedy_ids,
    swap_ids,
    told_apart,
    typeable,
    work_of,
)
from diagnose.errors import InputError, Place, Problem, UnknownName, cut, near_matches, quoted
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.limits import LONGEST_WORD, MOST_WORDS
from diagnose.machine.graph import Machine
from diagnose.record import record

Known = dict[str, float | str]


@record
class Noted:
    """What was said of one circumstance."""

    circumstance: str
    value: float | str


Word = Run | Reading | Work | Noted
"""What one argument can tell."""

LOOKS_LIKE_A_PATTERN = re.compile(r"[PFGRpfgr?.]{3,}")


def read_typed(
    machine: Machine,
    arguments: Sequence[str],
    knowledge: Knowledge | None = None,
    before: Case | None = None,
) -> Case:
    """The case that the arguments tell, in their order; it goes on from ``before`` if given.

    Circumstances typed before any check hold for every run, those of ``before`` too, unless
    the run says otherwise itself.

    Raises
    ------
    FileProblems: everything that is wrong with any of the arguments, each at its argument.

    >>> from diagnose.machine.graph import load_machine
    >>> case = read_typed(load_machine("mounted-6"), ["oil=50C", "bleed=PPPPPF", "engine=on"])
    >>> case.runs[0].pattern, dict(case.runs[0].circumstances)
    ('PPPPPF', {'oil': 50.0, 'engine': 'on'})
    """
    story = _Story(machine, knowledge or load_knowledge())
    problems: list[Problem] = []
    if len(arguments) > MOST_WORDS:
        remedy = "write them into a case file and give that with --file"
        expected, got = f"at most {MOST_WORDS} things on one line", f"{len(arguments):,}"
        refuse([Problem(Place("what was typed"), expected, got, remedy)])
    for argument in arguments:
        with collected(problems):
            story.take(argument)
    refuse(problems)
    case = story.case(before or Case(machine.id))
    refuse([wrong.at(Place("what was told")) for wrong in too_much_in(case)])
    return case


@dataclass
class _Story:
    """What was typed so far."""

    machine: Machine
    knowledge: Knowledge
    for_all: Known = field(default_factory=dict)
    runs: list[tuple[str, tuple[Result, ...], Known, int]] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    history: Known = field(default_factory=dict)
    work: list[Work] = field(default_factory=list)

    def take(self, argument: str) -> None:
        """Add one argument to the story. Raises `InputError` or `FileProblems`."""
        key, _ = _key_and_value(argument)
        known: Known = {}
        if key in self.knowledge.checks:
            # A run that is refused still owns what is typed after it.
            self.runs.append((key, (), known, len(self.work)))
        word = read_word(self.machine, argument, self.knowledge)
        if isinstance(word, Run):
            self.runs[-1] = (key, word.results, known, len(self.work))
        elif isinstance(word, Noted):
            self._note(self._holder(key), word, Place(cut(argument)))
        elif isinstance(word, Reading):
            self.readings.append(replace(word, epoch=len(self.work)))
        else:
            self.work.append(word)

    def case(self, before: Case) -> Case:
        """The whole story, with what was known before it."""
        earlier = tuple(
            replace(run, circumstances={**self.for_all, **run.circumstances}) for run in before.runs
        )
        runs = tuple(
            Run(0, check, results, self.for_all | own, epoch)
            for check, results, own, epoch in self.runs
        )
        past = {key: str(value) for key, value in self.history.items()}
        told = Case(self.machine.id, runs, tuple(self.readings), past, tuple(self.work))
        return joined(replace(before, runs=earlier), told)

    def _holder(self, key: str) -> Known:
        """Where a circumstance belongs: the past, the last run, or every run."""
        if self.knowledge.circumstances[key].scope == "case":
            return self.history
        return self.runs[-1][2] if self.runs else self.for_all

    def _note(self, known: Known, said: Noted, where: Place) -> None:
        """Add a circumstance; saying two different things of one is refused."""
        name, value = said.circumstance, said.value
        if known.setdefault(name, value) != value:
            circumstance = self.knowledge.circumstances[name]
            before, now = told_apart(circumstance, known[name], value)
            got = f"{before} before and {now} now"
            raise InputError(Problem(where, f"{name} once for each run", got, "keep one of them"))


def read_word(machine: Machine, argument: str, knowledge: Knowledge | None = None) -> Word:
    """What one argument tells, as if nothing had been told before it.

    Raises `InputError` or `FileProblems` at the argument.

    >>> from diagnose.machine.graph import load_machine
    >>> read_word(load_machine("mounted-6"), "oil=54C")
    Noted(circumstance='oil', value=54.0)
    """
    known, where = knowledge or load_knowledge(), Place(cut(argument))
    if len(argument) > LONGEST_WORD:
        got, remedy = f"{len(argument):,}", "name rows as ranges, such as fail:13-16"
        raise InputError(Problem(where, f"at most {LONGEST_WORD:,} letters", got, remedy))
    key, value = _key_and_value(argument)
    if value is None:
        raise InputError(_no_equals(argument, key, _keys(known)))
    if key in known.checks:
        return Run(0, key, read_pattern(value, machine.rows, where))
    with located(where):
        if "@" in key:
            return _at_part(machine, known, key, value)
        if key in typeable(known):
            return Noted(key, circumstance_value(known.circumstances[key], value))
    what = "a check, a circumstance or ACT@PLACE"
    raise UnknownName(where, what, key, _keys(known), "rowfault rank --help")


def _key_and_value(argument: str) -> tuple[str, str | None]:
    """What stands before the equals sign, as names are written, and what stands after it."""
    key, equals, value = argument.partition("=")
    return key.strip().lower().replace("_", "-"), value if equals else None


def _at_part(machine: Machine, knowledge: Knowledge, key: str, text: str) -> Reading | Work:
    act, _, place = key.partition("@")
    if act in (*remedy_ids(knowledge), *swap_ids(knowledge)):
        return work_of(machine, knowledge, act, place, text)
    return reading_of(machine, knowledge, act, place, text)


def _keys(known: Knowledge) -> list[str]:
    acts = [*measurement_ids(known), *remedy_ids(known), *swap_ids(known)]
    return [*known.checks, *typeable(known), *(f"{act}@" for act in acts)]


def _no_equals(argument: str, key: str, known: list[str]) -> Problem:
    """What to try instead of an argument without ``=``."""
    near = near_matches(key, known, most=1)
    if LOOKS_LIKE_A_PATTERN.fullmatch(argument):
        remedy = f"write response={argument} or bleed={argument}"
    else:
        remedy = f"write {near[0].rstrip('@')}=..." if near else "write for example oil=54C"
    return Problem(Place(cut(argument)), "NAME=VALUE", quoted(argument), remedy)
