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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from diagnose.errors import InputError, Place, Problem, UnknownName, cut, near_matches, quoted
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.collecting import collected, located, refuse
from diagnose.observations.events import Circumstances, History, Observed, Reading, Run, Work
from diagnose.observations.extent import too_much_in
from diagnose.observations.pattern import read_pattern
from diagnose.observations.values import (
    circumstance_value,
    measurement_ids,
    reading_of,
    remedy_ids,
    swap_ids,
    told_apart,
    typeable,
    work_of,
)
from diagnose.tolerances import LONGEST_WORD, MOST_WORDS

Known = dict[str, float | str]

_Typed = Observed | Circumstances
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
    told = _Told(machine, knowledge or load_knowledge())
    problems: list[Problem] = []
    if len(arguments) > MOST_WORDS:
        remedy = "write them into a case file and give that with --file"
        expected, got = f"at most {MOST_WORDS} things on one line", f"{len(arguments):,}"
        refuse([Problem(Place("what was typed"), expected, got, remedy)])
    for argument in arguments:
        with collected(problems):
            told.take(argument)
    refuse(problems)
    case = Case.of(machine.id, told.after(before or Case(machine.id)))
    refuse([wrong.at(Place("what was told")) for wrong in too_much_in(case)])
    return case


@dataclass
class _Told:
    """What was typed so far.

    ``own`` is what is known of the last run by itself, None before the first; ``for_all`` what
    is known of every run.
    """

    machine: Machine
    knowledge: Knowledge
    for_all: Known = field(default_factory=dict)
    past: Known = field(default_factory=dict)
    own: Known | None = None
    events: list[Observed] = field(default_factory=list)

    def take(self, argument: str) -> None:
        """Add what one argument tells. Raises `InputError` or `FileProblems`."""
        key, _ = _key_and_value(argument)
        if key in self.knowledge.checks:
            self.own = {}  # a run that is refused still owns what is typed after it
        event, where = parse_word(self.machine, argument, self.knowledge), Place(cut(argument))
        match event:
            case Run():
                assert self.own is not None
                self.events.append(replace(event, circumstances=self.own))
            case Circumstances():
                self._add(self.for_all if self.own is None else self.own, event.values, where)
            case History():
                self._add(self.past, event.values, where)
            case _:
                self.events.append(event)

    def after(self, before: Case) -> list[Observed]:
        """All that was told, with what was known before it."""
        told = [*before.events(), History({n: str(v) for n, v in self.past.items()}), *self.events]
        return [
            replace(each, circumstances=self.for_all | dict(each.circumstances))
            if isinstance(each, Run)
            else each
            for each in told
        ]

    def _add(self, known: Known, said: Mapping[str, float | str | None], where: Place) -> None:
        """Add circumstances; saying two different things of one is refused."""
        for name, value in said.items():
            if value is not None and known.setdefault(name, value) != value:
                circumstance = self.knowledge.circumstances[name]
                before, now = told_apart(circumstance, known[name], value)
                got = f"{before} before and {now} now"
                raise InputError(
                    Problem(where, f"{name} once for each run", got, "keep one of them")
                )


def parse_statements(
    words: Sequence[str],
    circumstances: Mapping[str, float | str],
    machine: Machine,
    knowledge: Knowledge,
) -> list[_Typed]:
    """What words tell that go on from a case in hand; a circumstance after a run is its own.

    One that is typed before any run holds for this run and those that follow.

    Parameters
    ----------
    circumstances: those that hold when the first word is told.

    Raises
    ------
    FileProblems: everything that is wrong with any of the words.

    >>> from diagnose.machine.graph import load_machine
    >>> machine, knowledge = load_machine("mounted-6"), load_knowledge()
    >>> for event in parse_statements(["oil=54C", "response=PPPPPF"], {}, machine, knowledge):
    ...     print(event.kind, getattr(event, "values", None) or event.circumstances)
    circumstances {'oil': 54.0}
    run {'oil': 54.0}
    """
    problems: list[Problem] = []
    events: list[_Typed] = []
    now = dict(circumstances)
    for word in words:
        with collected(problems):
            event = parse_word(machine, word, knowledge)
            if isinstance(event, Circumstances):
                known = {name: value for name, value in event.values.items() if value is not None}
                now |= known
                last = events[-1] if events else None
                if isinstance(last, Run):
                    events[-1] = replace(last, circumstances={**last.circumstances, **known})
                    continue
            events.append(
                replace(event, circumstances=dict(now)) if isinstance(event, Run) else event
            )
    refuse(problems)
    return events


def parse_word(machine: Machine, argument: str, knowledge: Knowledge | None = None) -> _Typed:
    """What one argument tells, as if nothing had been told before it.

    Raises `InputError` or `FileProblems` at the argument.

    >>> from diagnose.machine.graph import load_machine
    >>> parse_word(load_machine("mounted-6"), "oil=54C")
    Circumstances(values={'oil': 54.0})
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
            return _circumstance(key, value, known)
    what = "a check, a circumstance or ACT@PLACE"
    raise UnknownName(where, what, key, _keys(known), "rowfault rank --help")


def _circumstance(name: str, text: str, knowledge: Knowledge) -> Circumstances | History:
    circumstance = knowledge.circumstances[name]
    value = circumstance_value(circumstance, text)
    past = circumstance.scope == "case"
    return History({name: str(value)}) if past else Circumstances({name: value})


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
