"""A whole story as one YAML file: written exactly, read strictly.

::

    schema: rowfault/case/2
    # temperatures in °C, pressures in bar, readings in their measurement's own unit
    entries: 1
    head: 5d7a…
    events:
    - id: 0f3c…
      at: '2026-03-01T08:00:00.000000Z'
      who: A. Helper
      what: {kind: opened, case: 20260301-mounted-6-5e1c09, machine: mounted-6}
      sha256: 5d7a…

Each event has the hash of the chain (`diagnose.story.chain`), so that a file that was changed on
its way is noticed. Files of the form before, which have none, are still read.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Literal

import yaml
from pydantic import Field

from diagnose.cases.collecting import collected, refuse
from diagnose.errors import FileProblems, Problem, quoted
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.model import Strict, check_model, in_order
from diagnose.knowledge.strictyaml import Document, read_file, read_text
from diagnose.knowledge.wrong import Fault, Wrong
from diagnose.knowledge.yamlnodes import NUMBER_STARTS, SWITCH_WORDS
from diagnose.machine.assemble import machine_in
from diagnose.machine.graph import Machine, load_machine
from diagnose.story.chain import FIRST, canonical, link, plain
from diagnose.story.event import Event, Opened
from diagnose.story.fitting import Fitting, too_long
from diagnose.story.formats import FORMAT, convert

SCHEMA, BEFORE, REST = "rowfault/case/2", "rowfault/case/1", "rowfault/case-rest/1"
"""What an archive says that it is; in the form before; and what came after a damaged entry."""

FORMS = {SCHEMA: 2, BEFORE: 1}
"""The form of the events in each (`diagnose.story.formats`)."""

UNITS = "# temperatures in °C, pressures in bar, readings in their measurement's own unit\n"

RESTORE = (
    "take the file as it was exported; to import what somebody typed into it, write "
    f"schema: {BEFORE} and leave out entries, head and every sha256"
)


class Archive(Strict):
    """The file: its form, and the events in order."""

    form: Literal["rowfault/case/2", "rowfault/case/1"] = Field(alias="schema")
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
            if not _has_utc(event.at):
                remedy = "write the time at which it was told"
                wrong = Wrong("a time within the years 1 to 9999", str(event.at), remedy)
                yield ("events", place, "at"), wrong
            yield from ((("events", place, *path), wrong) for path, wrong in event.faults())


def _has_utc(at: datetime) -> bool:
    try:
        at.astimezone(UTC)
    except OverflowError:
        return False
    return True


def story_data(events: Sequence[Event]) -> dict[str, Any]:
    """The events as the plain data of a file.

    >>> from diagnose.story.event import told
    >>> data = story_data([told(Opened(case="20260301-a", machine="mounted-6"), "A")])
    >>> data["entries"], data["head"] == data["events"][-1]["sha256"]
    (1, True)
    """
    told, head = [], FIRST
    for event in events:
        data = plain(event)
        head = link(head, FORMS[SCHEMA], canonical(data))
        told.append({**data, "sha256": head})
    return {"schema": SCHEMA, "entries": len(told), "head": head, "events": told}


def story_text(events: Sequence[Event]) -> str:
    r"""The events as the text of a file; `read_story` gives the same events back.

    >>> from datetime import UTC, datetime
    >>> from diagnose.story.event import told
    >>> opened = Opened(case="20260301-a", machine="mounted-6")
    >>> text = story_text([told(opened, "A", datetime(2026, 3, 1, tzinfo=UTC))])
    >>> print(*text.splitlines()[5:], sep="\n")  # doctest: +ELLIPSIS
    - id: ...
      at: '2026-03-01T00:00:00Z'
      who: A
      what:
        kind: opened
        case: '20260301-a'
        machine: mounted-6
      sha256: ...
    """
    return _text(story_data(events))


def rest_text(case: str, entry: int, events: Sequence[Event]) -> str:
    """What is whole after a damaged entry of a case, to be read by people; no import takes it.

    >>> rest_text("20260301-a", 3, []).splitlines()[0]
    'schema: rowfault/case-rest/1'
    """
    told = [plain(event) for event in events]
    return _text({"schema": REST, "case": case, "after_entry": entry, "events": told})


def _text(data: dict[str, Any]) -> str:
    body = {name: value for name, value in data.items() if name != "schema"}
    return f"schema: {data['schema']}\n{UNITS}" + yaml.dump(
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


def is_archive(document: Document) -> bool:
    """Whether a document says that it is a story.

    >>> is_archive(read_text("schema: rowfault/case/1", "a.yaml"))
    True
    """
    return document.data.get("schema") in (SCHEMA, BEFORE)


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
    unhashed, chained = _chained(document)
    archive, problems = check_model(unhashed, Archive)
    if archive is None or problems:
        raise FileProblems(problems)
    refuse(chained)
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


def _chained(document: Document) -> tuple[Document, list[Problem]]:
    """The document without hashes, its events as this program reads them; what the chain says."""
    data, problems = document.data, []
    form = FORMS.get(str(data.get("schema")), FORMAT)
    events = data.get("events")
    if not isinstance(events, list):
        return document, []
    if form > 1:
        problems = list(_breaks(document, events))
        data = {name: value for name, value in data.items() if name not in ("entries", "head")}
    told = [_read(event, form) for event in events]
    return replace(document, data={**data, "events": told}), problems


def _breaks(document: Document, events: Sequence[Any]) -> Iterator[Problem]:
    """The first entry that is not what was written, or what is missing at the end."""
    head = FIRST
    for place, event in enumerate(events):
        said = dict(event) if isinstance(event, dict) else {}
        noted = said.pop("sha256", None)
        head = link(head, FORMS[SCHEMA], canonical(said))
        if noted != head:
            where, got = document.place(("events", place)), "another text (its SHA-256 differs)"
            yield Problem(where, f"entry {place + 1} as it was written", got, RESTORE)
            return
    if (document.data.get("entries"), document.data.get("head")) != (len(events), head):
        expected = f"{quoted(document.data.get('entries'))} entries and the last of them"
        yield Problem(document.place(("events",)), expected, str(len(events)), RESTORE)


def _read(event: Any, form: int) -> Any:
    """An event's data as this program reads it; what is none is left for its check."""
    if not isinstance(event, dict):
        return event
    said = {name: value for name, value in event.items() if form == 1 or name != "sha256"}
    try:
        return convert(said, form)
    except (TypeError, KeyError, AttributeError):
        return said


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
