"""What was told, in words: one short sentence for each event."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from diagnose.formats.units import NO_CODE, shown_quantity
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import Measurement, part_in_words
from diagnose.machine.graph import Machine
from diagnose.observations.entries import (
    Answered,
    AtHand,
    Concluded,
    Correction,
    HandedOver,
    Noted,
    Opened,
    Reopened,
    Skipped,
    Statement,
)
from diagnose.observations.events import (
    Circumstances,
    History,
    Reading,
    Remedied,
    Run,
    Swapped,
)
from diagnose.observations.result import Result
from diagnose.observations.rows import pattern_in_words, rows_in_words
from diagnose.observations.state import CaseState
from diagnose.observations.values import YES_NO

OUTCOMES: Mapping[str, str] = {
    "open": "open",
    "proven": "proven good",
    "handed-over": "handed over",
    "given-up": "given up",
}
"""How a case stands, in words."""

NOBODY = "whoever goes on"

_SORTS: Mapping[str, str] = {"ohm": "resistance", "V": "voltage", "bar": "pressure"}


def in_words(what: Opened | Statement, machine: Machine, knowledge: Knowledge) -> str:
    """What was told, in words. A note and a reason are the user's own.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> machine, knowledge = load_machine("mounted-6"), load_knowledge()
    >>> in_words(Run.of("bleed", "PPPPPF"), machine, knowledge)
    'bleed check: row 6 failed, 5 of 6 passed'
    >>> in_words(Remedied("replace-coil", "row-6/valve"), machine, knowledge)
    'replace coil, done: row 6, row valve'
    """
    match what:
        case Opened():
            return f"opened for {what.machine}" + (f": {what.title}" if what.title else "")
        case Run():
            shown = "; ".join([pattern_in_words(what.pattern), *_of_rows_together(what)])
            return f"{_check(what.check, knowledge)}: {shown}{_under(what, knowledge)}"
        case History() | Circumstances() | Answered():
            return _said(what, knowledge)
        case Reading() | Remedied() | Swapped():
            return _at_a_part(what, machine, knowledge)
        case _:
            return _aside(what)


SHOWED: Mapping[Result, str] = {Result.PASS: "passed", Result.FAIL: "failed"}


def _under(what: Run | Reading, knowledge: Knowledge) -> str:
    """The circumstances of a run or a reading, and its session, in brackets."""
    known = list(circumstances_in_words(what.circumstances, knowledge))
    if isinstance(what, Run) and what.session:
        known.append(f"session {what.session}")
    return f" ({'; '.join(known)})" if known else ""


def _of_rows_together(run: Run) -> Iterator[str]:
    """What is known of rows together, and which passes nobody named.

    >>> from dataclasses import replace
    >>> from diagnose.observations.events import Alternative, Count
    >>> run = replace(Run.of("bleed", "???P"), inferred=(4,))
    >>> counted = replace(run, counts=(Count(Result.FAIL, (1, 2, 3), 1, 2),))
    >>> "; ".join(_of_rows_together(counted))
    '1 to 2 of rows 1–3 failed; row 4 not named'
    >>> either = replace(run, alternatives=(Alternative(Result.FAIL, ((2,), (3,))),))
    >>> next(_of_rows_together(either))
    'row 2 or row 3 failed'
    """
    for count in run.counts:
        number = f"{count.least}" if count.least == count.most else f"{count.least} to {count.most}"
        yield f"{number} of {rows_in_words(count.rows)} {SHOWED[count.result]}"
    for one in run.alternatives:
        yield f"{' or '.join(map(rows_in_words, one.rows))} {SHOWED[one.result]}"
    if run.inferred:
        yield f"{rows_in_words(run.inferred)} not named"


def in_hand(state: CaseState) -> str:
    """Who has a case, and who handed it over, why and when.

    >>> from diagnose.observations.entries import new_event
    >>> from diagnose.observations.state import replay
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "Ann")
    >>> in_hand(replay([first]))
    'Ann has this case'
    >>> late = new_event(HandedOver(to="Ben", why="it is late"), "Ann")
    >>> in_hand(replay([first, late]))  # doctest: +ELLIPSIS
    'Ann handed this case over to Ben, 20...: it is late'
    """
    handed = state.handover
    if handed is None or handed.to != state.owner:
        return f"{state.owner} has this case"
    at = f"{handed.at.astimezone():%Y-%m-%d %H:%M}"
    why = handed.why or "no reason given"
    return f"{handed.by} handed this case over to {handed.to or NOBODY}, {at}: {why}"


def circumstances_in_words(
    values: Mapping[str, float | str | None], knowledge: Knowledge
) -> tuple[str, ...]:
    """Circumstances with their values, one by one, in the order in which they are known.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> circumstances_in_words({"oil": 54.0, "engine": "on"}, load_knowledge())
    ('engine: running', 'oil temperature: 54 °C (129 °F)')
    """
    known = [name for name in knowledge.circumstances if name in values]
    order = dict.fromkeys([*known, *values])
    return tuple(_circumstance(name, values[name], knowledge) for name in order)


def _circumstance(name: str, value: float | str | None, knowledge: Knowledge) -> str:
    known = knowledge.circumstances.get(name)
    title = known.name if known else name
    if value is None:
        return f"{title}: not known any more"
    if isinstance(value, float) and known and known.value in ("temperature", "pressure"):
        return f"{title}: {shown_quantity(value, known.value)}"
    if known is None:
        return f"{title}: {value}"
    states = {state.id: state.name for state in known.states}
    return f"{title}: {states.get(str(value), value)}"


def _said(what: History | Circumstances | Answered, knowledge: Knowledge) -> str:
    if isinstance(what, Answered):
        answer = _circumstance(what.circumstance, what.value, knowledge)
        return f"remembered of an earlier run: {answer}"
    values = "; ".join(circumstances_in_words(what.values, knowledge))
    return values if isinstance(what, History) else f"from now on {values}"


def _check(name: str, knowledge: Knowledge) -> str:
    return knowledge.checks[name].name if name in knowledge.checks else name


def _at_a_part(what: Reading | Remedied | Swapped, machine: Machine, knowledge: Knowledge) -> str:
    where = part_in_words(what.part, machine.parts[what.part])
    match what:
        case Reading():
            measurement = machine.parts[what.part].measurement(what.measurement)
            shown = reading_shown(what.value, measurement)
            under = _under(what, knowledge)
            return f"{_plain(what.measurement)} at {where}: {shown}{under}"
        case Remedied():
            return f"{_plain(what.remedy)}, done: {where}"
        case Swapped():
            other = part_in_words(what.other, machine.parts[what.other])
            return f"{_plain(what.swap)}, done: {where} with {other}"


def reading_shown(value: float | str, measurement: Measurement) -> str:
    """A reading with its unit; of a look, what was seen.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> valve = load_knowledge().parts["valve"]
    >>> reading_shown(7.4, valve.measurement("coil-resistance"))
    '7.4 ohm'
    """
    if isinstance(value, str):
        seen = measurement.results[0].says if value == YES_NO[0] else "nothing wrong seen"
        return seen.rstrip(".")
    if measurement.unit == "code":
        return "no failure mode stored" if value == NO_CODE else f"failure mode {value:g}"
    return shown_quantity(value, _SORTS[measurement.unit])


def _aside(what: Opened | Statement | Correction) -> str:
    """What moves no probability."""
    match what:
        case Noted():
            return f"note: {what.text}"
        case Skipped():
            return f"cannot be done here: {what.act}" + (f" ({what.reason})" if what.reason else "")
        case AtHand():
            lacks = [f"no {tool}" for tool in what.without] + ["no second person"] * what.alone
            return f"at hand: {', '.join(lacks) or 'every tool and a second person'}"
        case Concluded() | HandedOver() | Reopened():
            return _passed_on(what)
        case _:
            raise ValueError(f"expected a fact, got {what.kind}")


def _passed_on(what: Concluded | HandedOver | Reopened) -> str:
    """How a case was closed, given to somebody, or opened again."""
    if isinstance(what, HandedOver):
        return f"handed over to {what.to}: {what.why}"
    if isinstance(what, Reopened):
        return f"reopened: {what.reason}"
    says = f": {what.says}" if what.says else ""
    if what.outcome == "handed-over":
        return f"handed over{says}"
    causes = f", cause {' and '.join(what.causes)}" if what.causes else ""
    return f"concluded: {OUTCOMES[what.outcome]}{causes}{says}"


def _plain(name: str) -> str:
    return name.replace("-", " ")
