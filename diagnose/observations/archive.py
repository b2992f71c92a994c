"""A whole story as one YAML file: written exactly, read strictly.

::

    schema: rowfault/case/3
    # temperatures in °C, pressures in bar, readings in their measurement's own unit
    entries: 1
    head: 5d7a…
    events:
    - id: 0f3c…
      at: '2026-03-01T08:00:00.000000Z'
      who: A. Helper
      what: {kind: opened, case: 20260301-mounted-6-5e1c09, machine: mounted-6}
      sha256: 5d7a…

Each event has the hash of the chain (`diagnose.observations.encoding`), so that a file that was
changed on its way is noticed. Files of the forms before are still read; the first has no hashes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Literal

import yaml
from pydantic import Field

from diagnose.errors import FileProblems, Problem, quoted
from diagnose.formats.model import Strict, check_model, in_order
from diagnose.formats.strictyaml import Document, read_file, read_text
from diagnose.formats.value_problem import FieldFault, Wrong
from diagnose.formats.yamlnodes import NUMBER_STARTS, SWITCH_WORDS
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine, load_machine
from diagnose.observations.collecting import collected, refuse
from diagnose.observations.encoding import FIRST, canonical, encode, link
from diagnose.observations.entries import Event, Opened
from diagnose.observations.formats import FORMAT, convert
from diagnose.observations.validation import Validation, too_long

_SCHEMA, _REST = "rowfault/case/3", "rowfault/case-rest/2"
"""What an archive says that it is; and what came after a damaged entry."""

_FORMS = {_SCHEMA: 3, "rowfault/case/2": 2, "rowfault/case/1": 1}
"""The form of the events in each that is read (`diagnose.observations.formats`)."""

UNCHAINED = "rowfault/case/1"
"""The one whose events have no hashes."""

UNITS = "# temperatures in °C, pressures in bar, readings in their measurement's own unit\n"

RESTORE = (
    "take the file as it was exported; to import what somebody typed into it, write "
    f"schema: {UNCHAINED} and leave out entries, head and every sha256"
)


class Archive(Strict):
    """The file: its form, and the events in order."""

    form: Literal["rowfault/case/3", "rowfault/case/2", "rowfault/case/1"] = Field(alias="schema")
    events: Annotated[tuple[Event, ...], Field(min_length=1)]

    def faults(self) -> Iterator[FieldFault]:
        """A story that does not begin with its opening, or with a second one; ids used twice.

        >>> from diagnose.observations.entries import Noted, new_event
        >>> file = Archive(schema=_SCHEMA, events=[new_event(Noted("hose chafed"), "A")])
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

    >>> from diagnose.observations.entries import new_event
    >>> data = story_data([new_event(Opened(case="20260301-a", machine="mounted-6"), "A")])
    >>> data["entries"], data["head"] == data["events"][-1]["sha256"]
    (1, True)
    """
    told = [{**data, "sha256": sha256} for _, data, sha256 in chained(events)]
    head = told[-1]["sha256"] if told else FIRST
    return {"schema": _SCHEMA, "entries": len(told), "head": head, "events": told}


def chained(events: Iterable[Event]) -> Iterator[tuple[Event, dict[str, Any], str]]:
    """Each event, its plain data and its hash in the chain."""
    head = FIRST
    for event in events:
        data = encode(event)
        head = link(head, _FORMS[_SCHEMA], canonical(data))
        yield event, data, head


def story_text(events: Sequence[Event]) -> str:
    r"""The events as the text of a file; `read_story` gives the same events back.

    >>> from datetime import UTC, datetime
    >>> from diagnose.observations.entries import new_event
    >>> opened = Opened(case="20260301-a", machine="mounted-6")
    >>> text = story_text([new_event(opened, "A", datetime(2026, 3, 1, tzinfo=UTC))])
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
    'schema: rowfault/case-rest/2'
    """
    told = [encode(event) for event in events]
    return _text({"schema": _REST, "case": case, "after_entry": entry, "events": told})


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
    return document.data.get("schema") in tuple(_FORMS)


def read_story(source: Path | Document, knowledge: Knowledge | None = None) -> tuple[Event, ...]:
    """The events of a file, each once.

    Raises `FileProblems` with everything that is wrong in it, or does not fit the machine.

    >>> from diagnose.observations.entries import Noted, new_event
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> story = (opening, new_event(Noted("- 5: off"), "A"))
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
        fitting = Validation(machine, known)
        for place, event in enumerate(archive.events):
            for path, wrong in fitting.faults(event.what):
                problems.append(wrong.at(document.place(("events", place, "what", *path))))
    refuse(in_order(problems))
    return tuple({event.id: event for event in archive.events}.values())


def _chained(document: Document) -> tuple[Document, list[Problem]]:
    """The document without hashes, its events as this program reads them; what the chain says."""
    data, problems = document.data, []
    form = _FORMS.get(str(data.get("schema")), FORMAT)
    events = data.get("events")
    if not isinstance(events, list):
        return document, []
    if form > 1:
        problems = list(_breaks(document, events, form))
        data = {name: value for name, value in data.items() if name not in ("entries", "head")}
    told = [_read(event, form) for event in events]
    return replace(document, data={**data, "events": told}), problems


def _breaks(document: Document, events: Sequence[Any], form: int) -> Iterator[Problem]:
    """The first entry that is not what was written, or what is missing at the end."""
    head = FIRST
    for place, event in enumerate(events):
        said = dict(event) if isinstance(event, dict) else {}
        noted = said.pop("sha256", None)
        head = link(head, form, canonical(said))
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

    >>> from diagnose.observations.entries import new_event
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> machine_of([opening], load_knowledge()).rows
    6
    """
    opening = events[0].what
    assert isinstance(opening, Opened)
    if opening.layout:
        document = read_text(opening.layout, f"the layout in case {opening.case}")
        # Help needs no machine, and what builds one is slow to import.
        from diagnose.machine.assemble import machine_in  # noqa: PLC0415

        return machine_in(document, knowledge)
    return load_machine(opening.machine, knowledge)
