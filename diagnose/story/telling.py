"""What was told, in words: one short sentence for each event."""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.cases.rows import pattern_in_words
from diagnose.cases.values import YES_NO
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import Measurement
from diagnose.knowledge.units import NO_CODE, shown_quantity
from diagnose.machine.graph import Machine
from diagnose.ranking.faults import part_in_words
from diagnose.story.event import (
    Answered,
    AtHand,
    Checked,
    Circumstances,
    Concluded,
    Correction,
    Exchanged,
    Fact,
    HandedOver,
    History,
    Measured,
    Mended,
    Noted,
    Opened,
    Reopened,
    Skipped,
)
from diagnose.story.replay import State

OUTCOMES: Mapping[str, str] = {
    "open": "open",
    "proven": "proven good",
    "handed-over": "handed over",
    "given-up": "given up",
}
"""How a case stands, in words."""

NOBODY = "whoever goes on"

SORTS: Mapping[str, str] = {"ohm": "resistance", "V": "voltage", "bar": "pressure"}


def in_words(what: Opened | Fact, machine: Machine, knowledge: Knowledge) -> str:
    """What was told, in words. A note and a reason are the user's own.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> machine, knowledge = load_machine("mounted-6"), load_knowledge()
    >>> in_words(Checked(check="bleed", pattern="PPPPPF"), machine, knowledge)
    'bleed check: row 6 failed, 5 of 6 passed'
    >>> in_words(Mended(remedy="replace-coil", part="row-6/valve"), machine, knowledge)
    'replace coil, done: row 6, row valve'
    """
    match what:
        case Opened():
            return f"opened for {what.machine}" + (f": {what.title}" if what.title else "")
        case Checked():
            known = told_circumstances(what.circumstances, knowledge)
            under = f" ({'; '.join(known)})" if known else ""
            return f"{_check(what.check, knowledge)}: {pattern_in_words(what.pattern)}{under}"
        case History() | Circumstances() | Answered():
            return _said(what, knowledge)
        case Measured() | Mended() | Exchanged():
            return _at_a_part(what, machine)
        case _:
            return _aside(what)


def in_hand(state: State) -> str:
    """Who has a case, and who handed it over, why and when.

    >>> from diagnose.story.event import told
    >>> from diagnose.story.replay import replay
    >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "Ann")
    >>> in_hand(replay([first]))
    'Ann has this case'
    >>> late = told(HandedOver(to="Ben", why="it is late"), "Ann")
    >>> in_hand(replay([first, late]))  # doctest: +ELLIPSIS
    'Ann handed this case over to Ben, 20...: it is late'
    """
    handed = state.handover
    if handed is None or handed.to != state.owner:
        return f"{state.owner} has this case"
    at = f"{handed.at.astimezone():%Y-%m-%d %H:%M}"
    why = handed.why or "no reason given"
    return f"{handed.by} handed this case over to {handed.to or NOBODY}, {at}: {why}"


def told_circumstances(
    values: Mapping[str, float | str | None], knowledge: Knowledge
) -> tuple[str, ...]:
    """Circumstances with their values, one by one, in the order in which they are known.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> told_circumstances({"oil": 54.0, "engine": "on"}, load_knowledge())
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
    values = "; ".join(told_circumstances(what.values, knowledge))
    return values if isinstance(what, History) else f"from now on {values}"


def _check(name: str, knowledge: Knowledge) -> str:
    return knowledge.checks[name].name if name in knowledge.checks else name


def _at_a_part(what: Measured | Mended | Exchanged, machine: Machine) -> str:
    where = part_in_words(what.part, machine.parts[what.part])
    match what:
        case Measured():
            measurement = machine.parts[what.part].measurement(what.measurement)
            return (
                f"{_plain(what.measurement)} at {where}: {reading_shown(what.value, measurement)}"
            )
        case Mended():
            return f"{_plain(what.remedy)}, done: {where}"
        case Exchanged():
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
    return shown_quantity(value, SORTS[measurement.unit])


def _aside(what: Opened | Fact | Correction) -> str:
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
