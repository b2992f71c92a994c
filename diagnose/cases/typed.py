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
from diagnose.machine.graph import Machine

Known = dict[str, float | str]
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
    for argument in arguments:
        with collected(problems):
            story.take(argument)
    refuse(problems)
    return story.case(before or Case(machine.id))


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
        where = Place(cut(argument))
        key, equals, value = argument.partition("=")
        key = key.strip().lower().replace("_", "-")
        if not equals:
            raise InputError(_no_equals(argument, key, self._keys()))
        if "@" in key:
            self._note_at_part(key, value, where)
        elif key in self.knowledge.checks:
            self._start_run(key, value, where)
        elif key in typeable(self.knowledge):
            self._note(self._holder(key), key, value, where)
        else:
            raise UnknownName(
                where,
                "a check, a circumstance or ACT@PLACE",
                key,
                self._keys(),
                "rowfault rank --help",
            )

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

    def _start_run(self, check: str, pattern: str, where: Place) -> None:
        known: Known = {}
        self.runs.append((check, (), known, len(self.work)))
        results = read_pattern(pattern, self.machine.rows, where)
        self.runs[-1] = (check, results, known, len(self.work))

    def _holder(self, key: str) -> Known:
        """Where a circumstance belongs: the past, the last run, or every run."""
        if self.knowledge.circumstances[key].scope == "case":
            return self.history
        return self.runs[-1][2] if self.runs else self.for_all

    def _note(self, known: Known, key: str, text: str, where: Place) -> None:
        """Add a circumstance; saying two different things of one is refused."""
        circumstance = self.knowledge.circumstances[key]
        with located(where):
            value = circumstance_value(circumstance, text)
        if known.setdefault(key, value) != value:
            before, now = told_apart(circumstance, known[key], value)
            got = f"{before} before and {now} now"
            raise InputError(Problem(where, f"{key} once for each run", got, "keep one of them"))

    def _note_at_part(self, key: str, text: str, where: Place) -> None:
        act, _, place = key.partition("@")
        with located(where):
            if act in (*remedy_ids(self.knowledge), *swap_ids(self.knowledge)):
                self.work.append(work_of(self.machine, self.knowledge, act, place, text))
            else:
                read = reading_of(self.machine, self.knowledge, act, place, text)
                self.readings.append(replace(read, epoch=len(self.work)))

    def _keys(self) -> list[str]:
        known = self.knowledge
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
