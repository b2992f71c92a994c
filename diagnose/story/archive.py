r"""A case as one YAML file, to be kept or taken up on another computer: every event, exactly.

::

    schema: rowfault/case/1
    events:
      - id: "0f..."
        at: "2026-03-01T08:00:00+00:00"
        who: "Ann"
        what: {kind: "opened", case: "20260301-mounted-6-1a2b3c", machine: "mounted-6"}
      - ...

Reading is strict: what the machine does not have, or what nobody could have told of it, is
refused, everything at once, each with its line.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from diagnose.cases.collecting import refuse
from diagnose.errors import FileProblems, Problem
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.model import Strict, check_model, in_order
from diagnose.knowledge.strictyaml import Document, read_file
from diagnose.knowledge.wrong import Fault, Wrong
from diagnose.story.event import Answered, Correction, Event, Opened
from diagnose.story.plausible import Fit, machine_of

SCHEMA = "rowfault/case/1"

LARGEST_BYTES = 10_000_000
"""A story of ten thousand events is about a quarter of it."""

MOST_MISFITS = 200
"""With so many things wrong a file is of another machine; no more are looked for."""

YEARS = (2000, 2200)
"""What was told before or after was told by a clock that is wrong."""

_BARE = re.compile(r"[a-z]+(-[a-z]+)*")
_NOT_BARE = frozenset(("yes", "no", "on", "off", "y", "n", "true", "false", "null"))
_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


class Archive(Strict):
    """What a file holds."""

    schema_: Literal["rowfault/case/1"] = Field(alias="schema")
    events: tuple[Event, ...] = Field(min_length=1)

    def faults(self) -> Iterator[Fault]:
        """What does not go together, whatever the machine."""
        yield from _opening_faults(self.events)
        first: dict[str, Event] = {}
        for event in self.events:
            first.setdefault(event.id, event)
        for nth, event in enumerate(self.events):
            here = ("events", nth)
            yield from (((*here, *path), wrong) for path, wrong in event.faults())
            if event != first[event.id]:
                yield (*here, "id"), Wrong("one event for an id", "two different ones")
            if not YEARS[0] <= event.at.year < YEARS[1]:
                expected = f"a time from {YEARS[0]} to {YEARS[1]}"
                yield (*here, "at"), Wrong(expected, event.at.isoformat(), "look at the clock")
            yield from _reference_faults(event, first, here)


def _opening_faults(events: Sequence[Event]) -> Iterator[Fault]:
    """A story that does not begin with its opening, or that tells of two cases."""
    opening = events[0].what
    if not isinstance(opening, Opened):
        yield ("events", 0, "what"), Wrong("the opening of a case", opening.kind)
        return
    for nth, event in enumerate(events):
        what = event.what
        if isinstance(what, Opened) and (what.case, what.machine) != (
            opening.case,
            opening.machine,
        ):
            got = f"{what.case} on {what.machine}"
            yield ("events", nth, "what"), Wrong(f"one case, {opening.case}", got, "split the file")


def _reference_faults(
    event: Event, known: Mapping[str, Event], here: tuple[str | int, ...]
) -> Iterator[Fault]:
    """An event about another one that is not in the file."""
    what = event.what
    facts = (what, what.instead) if isinstance(what, Correction) else (what,)
    for fact in facts:
        name = "event" if isinstance(fact, Correction) else "run"
        about = fact.event if isinstance(fact, Correction) else None
        about = fact.run if isinstance(fact, Answered) else about
        if about is not None and about not in known:
            yield (*here, "what", name), Wrong("an event of this case", repr(about))


def is_archive(document: Document) -> bool:
    """Whether a document says that it is a case with all its events."""
    return document.data.get("schema") == SCHEMA


def read_archive(path: Path | str) -> Document:
    """The document in a file. Raises `FileProblems` when nothing can be read from it."""
    return read_file(path, LARGEST_BYTES)


def read_story(
    source: Path | str | Document, knowledge: Knowledge | None = None
) -> tuple[Event, ...]:
    """The events that a file, or a document in hand, tells; an event that stands twice counts once.

    Raises
    ------
    FileProblems: everything that is wrong in it, each with its line.
    """
    document = source if isinstance(source, Document) else read_archive(source)
    known = knowledge or load_knowledge()
    archive, problems = check_model(document, Archive)
    if archive is None:
        raise FileProblems(problems)
    events = archive.events
    opening = events[0].what
    if isinstance(opening, Opened):
        problems += _misfits(document, events, opening, known)
    refuse(in_order(problems))
    return tuple({event.id: event for event in events}.values())


def _misfits(
    document: Document, events: Sequence[Event], opening: Opened, knowledge: Knowledge
) -> list[Problem]:
    """What the machine does not have, or nobody could have told of it."""
    problems: list[Problem] = []
    try:
        machine = machine_of(opening, knowledge, document.place(("events", 0, "what")))
    except FileProblems as error:
        return list(error.problems)
    fit = Fit(machine, knowledge)
    for nth, event in enumerate(events):
        here = ("events", nth, "what")
        faults = fit.misfits(event.what)
        problems += [wrong.at(document.place((*here, *path))) for path, wrong in faults]
        if len(problems) > MOST_MISFITS:
            break
    return problems


def story_data(events: Sequence[Event]) -> dict[str, Any]:
    """The events as plain data, which can be written as JSON too."""
    return {"schema": SCHEMA, "events": [_event_data(event) for event in events]}


def story_text(events: Sequence[Event]) -> str:
    """The events as the text of a file; reading it gives the same events.

    >>> from datetime import datetime
    >>> from diagnose.knowledge.strictyaml import read_text
    >>> from diagnose.story.event import told
    >>> at = datetime(2026, 3, 1, 8, tzinfo=UTC)
    >>> events = (told(Opened(case="20260301-a", machine="mounted-6"), "Ann", at),)
    >>> print(story_text(events).replace(events[0].id, "0f..."), end="")
    schema: rowfault/case/1
    events:
      - id: "0f..."
        at: "2026-03-01T08:00:00+00:00"
        who: "Ann"
        what: {kind: "opened", case: "20260301-a", machine: "mounted-6"}
    >>> read_story(read_text(story_text(events), "case.yaml")) == events
    True
    """
    lines = [f"schema: {SCHEMA}", "events:"]
    for event in events:
        fields = [f"{name}: {_flow(value)}" for name, value in _event_data(event).items()]
        lines += [("  - " if not nth else "    ") + field for nth, field in enumerate(fields)]
    return "\n".join(lines) + "\n"


def _event_data(event: Event) -> dict[str, Any]:
    what = event.what.model_dump(mode="json", by_alias=True)
    at = event.at.astimezone(UTC).isoformat()
    return {"id": event.id, "at": at, "who": event.who, "what": _said(what)}


def _said(what: Mapping[str, Any]) -> dict[str, Any]:
    """The fields of an event that say something; None says nothing in any of them."""
    said = {name: value for name, value in what.items() if value is not None}
    if isinstance(said.get("instead"), dict):
        said["instead"] = _said(said["instead"])
    return said


def _flow(value: Any) -> str:
    """A value on one line of YAML.

    >>> _flow({"oil": 54.0, "on": None, "rows": [True, "a"]})
    '{oil: 54.0, "on": null, rows: [true, "a"]}'
    """
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_name(k)}: {_flow(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_flow, value)) + "]"
    if isinstance(value, str):
        return _quoted(value)
    return {None: "null", True: "true", False: "false"}[value] if _constant(value) else repr(value)


def _constant(value: object) -> bool:
    return value is None or isinstance(value, bool)


def _name(name: str) -> str:
    bare = _BARE.fullmatch(name) and name not in _NOT_BARE
    return name if bare else _quoted(name)


def _quoted(text: str) -> str:
    r"""The text in double quotes, with everything that cannot be printed written out.

    >>> print(_quoted('say "stop"\x1b'))
    "say \"stop\"\x1b"
    """
    return '"' + "".join(_ESCAPES.get(c) or _letter(c) for c in text) + '"'


def _letter(letter: str) -> str:
    if letter.isprintable():
        return letter
    code = ord(letter)
    return f"\\x{code:02x}" if code < 0x100 else f"\\U{code:08x}"
