"""A whole story as one YAML file: written exactly, read strictly.

::

    schema: rowfault/case/1
    # temperatures in °C, pressures in bar, readings in their measurement's own unit
    events:
    - id: 0f3c…
      at: '2026-03-01T08:00:00.000000Z'
      who: A. Helper
      what: {kind: opened, case: 20260301-mounted-6-5e1c09, machine: mounted-6}
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import yaml
from pydantic import Field

from diagnose.cases.collecting import collected, refuse
from diagnose.errors import FileProblems
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.model import Strict, check_model, in_order
from diagnose.knowledge.strictyaml import (
    NUMBER_STARTS,
    SWITCH_WORDS,
    Document,
    read_file,
    read_text,
)
from diagnose.knowledge.wrong import Fault, Wrong
from diagnose.machine.graph import Machine, load_machine, machine_in
from diagnose.story.event import Event, Opened
from diagnose.story.fitting import Fitting, too_long

SCHEMA = "rowfault/case/1"

UNITS = "# temperatures in °C, pressures in bar, readings in their measurement's own unit\n"


class Archive(Strict):
    """The file: its form, and the events in order."""

    form: Literal["rowfault/case/1"] = Field(alias="schema")
    events: Annotated[tuple[Event, ...], Field(min_length=1)]

    def faults(self) -> Iterator[Fault]:
        """A story that does not begin with its opening, or with a second one; ids used twice.

        >>> from diagnose.story.event import Noted, told
        >>> file = Archive(schema=SCHEMA, events=[told(Noted(text="hose chafed"), "A")])
        >>> [(path, wrong.expected, wrong.got) for path, wrong in file.faults()]
        [(('events', 0, 'what'), 'the opening of a case first', 'note')]
        """
        if not isinstance(self.events[0].what, Opened):
            got = self.events[0].what.kind
            yield ("events", 0, "what"), Wrong("the opening of a case first", got)
        yield from ((("events",), wrong) for wrong in too_long(self.events))
        seen: dict[str, Event] = {}
        for place, event in enumerate(self.events):
            if place and isinstance(event.what, Opened):
                yield ("events", place, "what"), Wrong("one opening", "a second one")
            if seen.setdefault(event.id, event) != event:
                yield ("events", place, "id"), Wrong("an id of its own", event.id, "keep one")
            yield from ((("events", place, *path), wrong) for path, wrong in event.faults())


def story_text(events: Sequence[Event]) -> str:
    r"""The events as the text of a file; `read_story` gives the same events back.

    >>> from datetime import UTC, datetime
    >>> from diagnose.story.event import told
    >>> opened = Opened(case="20260301-a", machine="mounted-6")
    >>> text = story_text([told(opened, "A", datetime(2026, 3, 1, tzinfo=UTC))])
    >>> print(*text.splitlines()[3:], sep="\n")  # doctest: +ELLIPSIS
    - id: ...
      at: '2026-03-01T00:00:00Z'
      who: A
      what:
        kind: opened
        case: '20260301-a'
        machine: mounted-6
    """
    told = [event.model_dump(mode="json", by_alias=True, exclude_none=False) for event in events]
    body = {"events": [_without_nothing(each) for each in told]}
    return f"schema: {SCHEMA}\n{UNITS}" + yaml.dump(
        body, Dumper=_Plain, sort_keys=False, allow_unicode=True, width=100
    )


class _Plain(yaml.SafeDumper):
    """Writes everything out, without references from one place to another."""

    def ignore_aliases(self, data: Any) -> bool:
        return True

    def text(self, data: str) -> yaml.ScalarNode:
        """Text in quotes where it could be taken for something else."""
        doubtful = data[:1] in NUMBER_STARTS or data.lower() in SWITCH_WORDS
        return self.represent_scalar("tag:yaml.org,2002:str", data, "'" if doubtful else None)


_Plain.add_representer(str, _Plain.text)


def _without_nothing(event: dict[str, Any]) -> dict[str, Any]:
    """The event without fields that are not given; circumstances taken back keep theirs."""
    what = {key: value for key, value in event["what"].items() if value is not None}
    if isinstance(what.get("instead"), dict):
        inside = what["instead"].items()
        what["instead"] = {key: value for key, value in inside if value is not None}
    return {**event, "what": what}


def is_archive(document: Document) -> bool:
    """Whether a document says that it is a story.

    >>> is_archive(read_text("schema: rowfault/case/1", "a.yaml"))
    True
    """
    return document.data.get("schema") == SCHEMA


def read_story(source: Path | Document, knowledge: Knowledge | None = None) -> tuple[Event, ...]:
    """The events of a file, each once.

    Raises `FileProblems` with everything that is wrong in it, or does not fit the machine.

    >>> from diagnose.story.event import Noted, told
    >>> opening = told(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> story = (opening, told(Noted(text="- 5: off"), "A"))
    >>> read_story(read_text(story_text(story), "a.yaml")) == story
    True
    """
    document = source if isinstance(source, Document) else read_file(source)
    archive, problems = check_model(document, Archive)
    if archive is None or problems:
        raise FileProblems(problems)
    known = knowledge or load_knowledge()
    machine = None
    with collected(problems):
        machine = machine_of(archive.events, known)
    if machine is not None:
        fitting = Fitting(machine, known)
        for place, event in enumerate(archive.events):
            for path, wrong in fitting.faults(event.what):
                problems.append(wrong.at(document.place(("events", place, "what", *path))))
    refuse(in_order(problems))
    return tuple({event.id: event for event in archive.events}.values())


def machine_of(events: Sequence[Event], knowledge: Knowledge) -> Machine:
    """The machine of a story, from the layout in its opening if there is one.

    Raises `UnknownName` or `FileProblems`.

    >>> from diagnose.story.event import told
    >>> opening = told(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> machine_of([opening], load_knowledge()).rows
    6
    """
    opening = events[0].what
    assert isinstance(opening, Opened)
    if opening.layout:
        document = read_text(opening.layout, f"the layout in case {opening.case}")
        return machine_in(document, knowledge)
    return load_machine(opening.machine, knowledge)
