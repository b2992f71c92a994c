"""Whether what is told of a case fits its machine: names, places, values, numbers of rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from diagnose.errors import quoted
from diagnose.formats.value_problem import FieldFault, Path, Wrong, unknown
from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.encoding import cannot_be_kept
from diagnose.observations.entries import Answered, Concluded, Correction, Event, What
from diagnose.observations.events import (
    Circumstances,
    Count,
    History,
    Reading,
    Remedied,
    Run,
    Swapped,
)
from diagnose.observations.extent import too_much
from diagnose.observations.result import Result
from diagnose.observations.rows import rows_in_words
from diagnose.observations.values import (
    circumstance_fault,
    measurement_ids,
    parts_with,
    reading_fault,
    remedy_ids,
    swap_ids,
    typeable,
)
from diagnose.record import record
from diagnose.tolerances import MOST_EVENTS


def too_long(events: Sequence[Event]) -> Iterator[Wrong]:
    """What a story has too many of.

    >>> from diagnose.observations.entries import Noted, new_event
    >>> list(too_long([new_event(Noted("hose chafed"), "A")]))
    []
    """
    if len(events) > MOST_EVENTS:
        yield Wrong(f"at most {MOST_EVENTS:,} events", f"{len(events):,}", "begin a new case")
    kinds = [type(event.what) for event in events]
    yield from too_much(
        kinds.count(Run), kinds.count(Reading), kinds.count(Remedied) + kinds.count(Swapped)
    )


@record
class Validation:
    """A machine, and what is known of the kinds of its parts, to hold events against.

    ``so_far`` is the case that one more event would be added to, if that is to be looked at.
    """

    machine: Machine
    knowledge: Knowledge
    so_far: Case | None = None

    def faults(self, what: What) -> Iterator[FieldFault]:
        """What in an event does not fit the machine, each at its field.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> validation = Validation(load_machine("mounted-6"), load_knowledge())
        >>> [(path, wrong)] = validation.faults(Run.of("bleed", "PPP"))
        >>> path, wrong.expected, wrong.got
        (('pattern',), '6 letters', '3')
        """
        unfit = list(cannot_be_kept(what))
        yield from unfit or self._unfit_here(what)

    def _unfit_here(self, what: What) -> Iterator[FieldFault]:
        """What of an event that could be kept does not fit this machine."""
        yield from (((), wrong) for wrong in self._one_too_many(what))
        match what:
            case Run():
                yield from self._run(what)
            case Reading():
                yield from self._reading(what)
            case Remedied():
                yield from self._at(what.remedy, what.part, remedy_ids(self.knowledge), "remedy")
            case Swapped():
                yield from self._swap(what)
            case History() | Circumstances() | Answered():
                yield from self._said(what)
            case Concluded():
                for place, cause in enumerate(what.causes):
                    yield from self._cause(("causes", place), cause)
            case Correction() if what.instead is not None:
                for path, wrong in self._unfit_here(what.instead):
                    yield ("instead", *path), wrong

    def _one_too_many(self, what: What) -> Iterator[Wrong]:
        """What the case would have too many of; correcting and noting are always possible."""
        runs, readings = isinstance(what, Run), isinstance(what, Reading)
        work = isinstance(what, Remedied | Swapped)
        case = self.so_far
        if case is not None and (runs or readings or work):
            yield from too_much(
                len(case.runs) + runs, len(case.readings) + readings, len(case.work) + work
            )

    def _run(self, run: Run) -> Iterator[FieldFault]:
        rows = self.machine.rows
        yield from unknown(("check",), "a check", run.check, self.knowledge.checks)
        if len(run.pattern) != rows:
            remedy = f"one for each row of {self.machine.id}"
            yield ("pattern",), Wrong(f"{rows} letters", str(len(run.pattern)), remedy)
        yield from self._values(("circumstances",), run.circumstances, "run")
        for place, count in enumerate(run.counts):
            yield from self._count(run, ("counts", place), count)
        for place, one in enumerate(run.alternatives):
            named = sorted({row for group in one.rows for row in group})
            way = ("alternatives", place, "rows")
            yield from self._marked(run, way, named, Result.UNSURE)
            if len(one.rows) < 2 or not all(one.rows):
                yield way, Wrong("two groups of rows or more", str(len(one.rows)), "name them")
        yield from self._marked(run, ("inferred",), run.inferred, Result.PASS)

    def _count(self, run: Run, path: Path, count: Count) -> Iterator[FieldFault]:
        """A count of rows that can be, over rows of which nothing else is known."""
        yield from self._marked(run, (*path, "rows"), count.rows, Result.UNSURE)
        if not count.least <= count.most <= len(count.rows):
            got = f"{count.least} to {count.most}"
            yield (*path, "most"), Wrong(f"a number of {len(count.rows)} rows", got)

    def _marked(
        self, run: Run, path: Path, rows: Sequence[int], mark: Result
    ) -> Iterator[FieldFault]:
        """Rows named that are not of the machine, twice there, or marked otherwise in the run."""
        marked = [row for row, seen in enumerate(run.results, start=1) if seen is mark]
        wrong = sorted({row for row in rows if row not in marked or rows.count(row) > 1})
        if wrong:
            expected = f"rows that the pattern marks {mark.value}, each once"
            yield path, Wrong(expected, rows_in_words(wrong))

    def _said(self, what: History | Circumstances | Answered) -> Iterator[FieldFault]:
        if isinstance(what, Answered):
            said = {what.circumstance: what.value}
            yield from ((("value",), wrong) for _, wrong in self._values((), said, "run"))
            return
        scope = "case" if isinstance(what, History) else "run"
        known = {name: value for name, value in what.values.items() if value is not None}
        yield from self._values(("values",), known, scope)

    def _values(
        self, path: tuple[str, ...], said: Mapping[str, float | str], scope: str
    ) -> Iterator[FieldFault]:
        known = {n: c for n, c in typeable(self.knowledge).items() if c.scope == scope}
        for name, value in said.items():
            yield from unknown((*path, name), "a circumstance", name, known)
            wrong = circumstance_fault(known[name], value) if name in known else None
            if wrong is not None:
                yield (*path, name), wrong

    def _at(self, act: str, part: str, known: tuple[str, ...], field: str) -> Iterator[FieldFault]:
        yield from unknown((field,), f"a {field}", act, known)
        if act in known:
            yield from unknown(("part",), "a part", part, parts_with(self.machine, act))

    def _reading(self, read: Reading) -> Iterator[FieldFault]:
        faults = [
            *self._at(read.measurement, read.part, measurement_ids(self.knowledge), "measurement")
        ]
        yield from faults
        if not faults:
            measurement = self.machine.parts[read.part].measurement(read.measurement)
            wrong = reading_fault(measurement, read.value)
            if wrong is not None:
                yield ("value",), wrong
        yield from self._values(("circumstances",), read.circumstances, "run")

    def _swap(self, swap: Swapped) -> Iterator[FieldFault]:
        yield from self._at(swap.swap, swap.part, swap_ids(self.knowledge), "swap")
        parts = self.machine.parts
        alike = swap.other != swap.part and parts.get(swap.other) == parts.get(swap.part)
        if swap.part in parts and not alike:
            yield ("with",), Wrong("the like part of another row", quoted(swap.other))

    def _cause(self, path: tuple[str | int, ...], cause: str) -> Iterator[FieldFault]:
        part, _, mode = cause.partition(":")
        kind = self.machine.parts.get(part)
        if kind is not None:
            yield from unknown(path, f"a mode of {kind.id}", mode, [m.id for m in kind.modes])
        elif mode:
            yield from unknown(path, "a part", part, self.machine.parts)
