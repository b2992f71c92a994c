"""A story in words, one thing told after the other, with what of it no longer counts."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from datetime import datetime

from diagnose.errors import on_one_line
from diagnose.faces.words import plain
from diagnose.story.event import (
    Answered,
    AtHand,
    Checked,
    Circumstances,
    Concluded,
    Correction,
    Exchanged,
    History,
    Measured,
    Mended,
    Noted,
    Opened,
    Skipped,
    What,
)
from diagnose.story.replay import State, Told

WIDTH = 80


def told_lines(state: State) -> Iterator[str]:
    """Every event of a story with its number, time and teller, folded to the width of a page.

    Letters that a terminal would obey are written out.
    """
    numbers = {each.event.id: nth for nth, each in enumerate(state.told, start=1)}
    width, day = len(str(len(numbers))), ""
    for nth, each in enumerate(state.told, start=1):
        at = each.event.at
        if (today := f"{at:%Y-%m-%d}") != day:
            yield f"{today} (UTC)"
            day = today
        text = on_one_line(_line(each, numbers).replace("\n", " / "))
        head = f"{nth:>{width}}  {_clock(at)}  "
        yield from textwrap.wrap(
            text, WIDTH, initial_indent=head, subsequent_indent=" " * len(head)
        )


def _clock(at: datetime) -> str:
    return f"{at:%H:%M}"


def _line(each: Told, numbers: Mapping[str, int]) -> str:
    says = f"{each.event.who}: {told_words(each.event.what, numbers)}"
    if each.counts is None:
        return f"{says} [taken back by {numbers[each.corrected_by]}]"
    if each.corrected_by:
        return f"{says} [put right by {numbers[each.corrected_by]}]"
    return says


def told_words(what: What, numbers: Mapping[str, int]) -> str:
    """What an event tells, in the words that are typed; ``numbers`` are those of the events.

    >>> told_words(Checked(check="response", pattern="PPF", circumstances={"oil": 54.0}), {})
    'response=PPF, oil=54'
    >>> told_words(Correction(event=32 * "0", instead=Noted(text="chafed")), {32 * "0": 3})
    'instead of 3, note: chafed'
    """
    match what:
        case Opened():
            says = f"case opened on {what.machine}" + _after(": ", what.title)
        case Checked():
            says = ", ".join([f"{what.check}={what.pattern}", *_values(what.circumstances)])
        case Circumstances() | History():
            says = ", ".join(_values(what.values))
        case Answered():
            known = ", ".join(_values({what.circumstance: what.value}))
            says = f"in run {numbers.get(what.run, '?')}, {known}"
        case Correction():
            says = _correction(what, numbers)
        case _:
            says = _act_words(what)
    return says


def _act_words(what: What) -> str:
    match what:
        case Measured():
            says = f"{what.measurement}@{what.part}={_value(what.value)}"
        case Mended():
            says = f"{what.remedy}@{what.part}=done"
        case Exchanged():
            says = f"{what.swap}@{what.part}={what.other}"
        case Skipped():
            says = f"skipped {what.act}" + _after(": ", what.reason)
        case AtHand():
            missing = [*what.without, *(["a second person"] if what.alone else [])]
            says = f"not at hand: {', '.join(missing)}" if missing else "everything is at hand"
        case Concluded():
            says = _conclusion(what)
        case _:
            says = f"note: {what.text}" if isinstance(what, Noted) else what.kind
    return says


def _after(mark: str, text: str | None) -> str:
    return f"{mark}{text}" if text else ""


def _conclusion(what: Concluded) -> str:
    causes = f", {', '.join(what.causes)}" if what.causes else ""
    return f"closed: {plain(what.outcome)}{causes}" + _after(". ", what.says)


def _correction(what: Correction, numbers: Mapping[str, int]) -> str:
    number = numbers.get(what.event, "?")
    why = f" ({what.reason})" if what.reason else ""
    if what.instead is None:
        return f"{what.step or 'takes back'} {number}{why}"
    return f"instead of {number}, {told_words(what.instead, numbers)}{why}"


def _values(values: Mapping[str, float | str | None] | Mapping[str, str]) -> Iterator[str]:
    yield from (f"{name}={_value(value)}" for name, value in values.items())


def _value(value: float | str | None) -> str:
    return "not known" if value is None else f"{value:g}" if isinstance(value, float) else value
