"""Whether what is told of a case fits its machine: names, places, values, numbers of rows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from diagnose.cases.case import Case
from diagnose.cases.extent import too_much
from diagnose.cases.values import (
    circumstance_fault,
    measurement_ids,
    parts_with,
    reading_fault,
    remedy_ids,
    swap_ids,
    typeable,
)
from diagnose.errors import quoted
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.wrong import Fault, Wrong, unknown
from diagnose.limits import MOST_EVENTS
from diagnose.machine.graph import Machine
from diagnose.record import record
from diagnose.story.event import (
    Answered,
    Checked,
    Circumstances,
    Concluded,
    Correction,
    Event,
    Exchanged,
    History,
    Measured,
    Mended,
    What,
)


def too_long(events: Sequence[Event]) -> Iterator[Wrong]:
    """What a story has too many of.

    >>> from diagnose.story.event import Noted, told
    >>> list(too_long([told(Noted(text="hose chafed"), "A")]))
    []
    """
    if len(events) > MOST_EVENTS:
        yield Wrong(f"at most {MOST_EVENTS:,} events", f"{len(events):,}", "begin a new case")
    kinds = [type(event.what) for event in events]
    yield from too_much(
        kinds.count(Checked), kinds.count(Measured), kinds.count(Mended) + kinds.count(Exchanged)
    )


@record
class Fitting:
    """A machine, and what is known of the kinds of its parts, to hold events against.

    ``so_far`` is the case that one more event would be added to, if that is to be looked at.
    """

    machine: Machine
    knowledge: Knowledge
    so_far: Case | None = None

    def faults(self, what: What) -> Iterator[Fault]:
        """What in an event does not fit the machine, each at its field.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> fitting = Fitting(load_machine("mounted-6"), load_knowledge())
        >>> [(path, wrong)] = fitting.faults(Checked(check="bleed", pattern="PPP"))
        >>> path, wrong.expected, wrong.got
        (('pattern',), '6 letters', '3')
        """
        yield from (((), wrong) for wrong in self._one_too_many(what))
        match what:
            case Checked():
                yield from self._run(what)
            case Measured():
                yield from self._reading(what)
            case Mended():
                yield from self._at(what.remedy, what.part, remedy_ids(self.knowledge), "remedy")
            case Exchanged():
                yield from self._swap(what)
            case History() | Circumstances() | Answered():
                yield from self._said(what)
            case Concluded():
                for place, cause in enumerate(what.causes):
                    yield from self._cause(("causes", place), cause)
            case Correction() if what.instead is not None:
                for path, wrong in self.faults(what.instead):
                    yield ("instead", *path), wrong

    def _one_too_many(self, what: What) -> Iterator[Wrong]:
        """What the case would have too many of; correcting and noting are always possible."""
        runs, readings = isinstance(what, Checked), isinstance(what, Measured)
        work = isinstance(what, Mended | Exchanged)
        case = self.so_far
        if case is not None and (runs or readings or work):
            yield from too_much(
                len(case.runs) + runs, len(case.readings) + readings, len(case.work) + work
            )

    def _run(self, run: Checked) -> Iterator[Fault]:
        rows = self.machine.rows
        yield from unknown(("check",), "a check", run.check, self.knowledge.checks)
        if len(run.pattern) != rows:
            remedy = f"one for each row of {self.machine.id}"
            yield ("pattern",), Wrong(f"{rows} letters", str(len(run.pattern)), remedy)
        yield from self._values(("circumstances",), run.circumstances, "run")

    def _said(self, what: History | Circumstances | Answered) -> Iterator[Fault]:
        if isinstance(what, Answered):
            said = {what.circumstance: what.value}
            yield from ((("value",), wrong) for _, wrong in self._values((), said, "run"))
            return
        scope = "case" if isinstance(what, History) else "run"
        known = {name: value for name, value in what.values.items() if value is not None}
        yield from self._values(("values",), known, scope)

    def _values(
        self, path: tuple[str, ...], said: Mapping[str, float | str], scope: str
    ) -> Iterator[Fault]:
        known = {n: c for n, c in typeable(self.knowledge).items() if c.scope == scope}
        for name, value in said.items():
            yield from unknown((*path, name), "a circumstance", name, known)
            wrong = circumstance_fault(known[name], value) if name in known else None
            if wrong is not None:
                yield (*path, name), wrong

    def _at(self, act: str, part: str, known: tuple[str, ...], field: str) -> Iterator[Fault]:
        yield from unknown((field,), f"a {field}", act, known)
        if act in known:
            yield from unknown(("part",), "a part", part, parts_with(self.machine, act))

    def _reading(self, read: Measured) -> Iterator[Fault]:
        faults = [
            *self._at(read.measurement, read.part, measurement_ids(self.knowledge), "measurement")
        ]
        yield from faults
        if not faults:
            measurement = self.machine.parts[read.part].measurement(read.measurement)
            wrong = reading_fault(measurement, read.value)
            if wrong is not None:
                yield ("value",), wrong

    def _swap(self, swap: Exchanged) -> Iterator[Fault]:
        yield from self._at(swap.swap, swap.part, swap_ids(self.knowledge), "swap")
        parts = self.machine.parts
        alike = swap.other != swap.part and parts.get(swap.other) == parts.get(swap.part)
        if swap.part in parts and not alike:
            yield ("with",), Wrong("the like part of another row", quoted(swap.other))

    def _cause(self, path: tuple[str | int, ...], cause: str) -> Iterator[Fault]:
        part, _, mode = cause.partition(":")
        kind = self.machine.parts.get(part)
        if kind is not None:
            yield from unknown(path, f"a mode of {kind.id}", mode, [m.id for m in kind.modes])
        elif mode:
            yield from unknown(path, "a part", part, self.machine.parts)
