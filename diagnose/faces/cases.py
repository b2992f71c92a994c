"""What the ``rowfault cases`` commands do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from diagnose.casereport import timeline
from diagnose.errors import Unavailable, on_one_line
from diagnose.faces.files import may_be_written, write_whole
from diagnose.faces.output import console, print_json, print_lines, print_tidily
from diagnose.faces.plaintext import visible
from diagnose.faces.words import counted, minutes_text
from diagnose.knowledge.base import load_knowledge
from diagnose.store.casebook import open_casebook
from diagnose.store.entry import Entry, Wanted
from diagnose.story.archive import read_story, story_text
from diagnose.story.replay import replay
from diagnose.story.telling import OUTCOMES
from diagnose.story.view import View


def listed(wanted: Wanted, as_json: bool) -> None:
    """Print the cases that are wanted."""
    with open_casebook() as casebook:
        entries = casebook.entries(wanted)
    if as_json:
        print_json({"schema": "rowfault/cases/1", "cases": [_data(entry) for entry in entries]})
        return
    print_lines(line for entry in entries for line in _lines(entry))
    if not entries:
        print_lines(["No such case."])


def _data(entry: Entry) -> dict[str, object]:
    return {
        **asdict(entry),
        "opened": entry.opened.isoformat(),
        "last": entry.last.isoformat(),
        "causes": list(entry.causes),
        "rows_failed": list(entry.rows_failed),
    }


def _lines(entry: Entry) -> Iterator[str]:
    """A case as a line, with what it is about below it."""
    yield f"{entry.case}  {OUTCOMES[entry.outcome]}, {minutes_text(entry.minutes)}"
    about = [visible(on_one_line(entry.title))] if entry.title else []
    about += [", ".join(entry.causes)] if entry.causes else []
    if about:
        yield f"    {'; '.join(about)}"


def shown(case: str, *, as_json: bool, colour: bool) -> None:
    """Print what was told in a case."""
    with open_casebook() as casebook:
        events = casebook.events(casebook.find(case))
    if as_json:
        told = [event.model_dump(mode="json", by_alias=True) for event in events]
        print_json({"schema": "rowfault/case/1", "events": told})
        return
    view = View(replay(events), load_knowledge())
    out = console(colour)
    for line in story_lines(view):
        print_tidily(out, line)


def story_lines(view: View) -> Iterator[RenderableType]:
    """A story for people: a row for each thing told, what no longer counts struck through.

    >>> from diagnose.story.event import Correction, Noted, Opened, told
    >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "Ann")
    >>> note = told(Noted(text="hose chafed"), "Ann")
    >>> state = replay([first, note, told(Correction(event=note.id), "Ann")])
    >>> [_, table] = story_lines(View(state, load_knowledge()))
    >>> [cell.plain.partition("Ann: ")[2] for cell in table.columns[1].cells][1:]
    ['note: hose chafed [no longer counts: see 3]', 'entry 2 does not count']
    """
    state = view.state
    yield Text(f"{state.id}: {view.machine.id}, {view.machine.rows} rows", style="title")
    if state.title:
        yield Text(visible(on_one_line(state.title)))
    table = Table.grid(padding=(0, 2))
    table.add_column(justify="right", no_wrap=True)
    table.add_column()
    for entry in timeline(state, view.machine, view.knowledge):
        at = state.told[entry["number"] - 1].event.at.astimezone()
        who = visible(on_one_line(entry["who"]))
        table.add_row(str(entry["number"]), _told(f"{at:%Y-%m-%d %H:%M} {who}: ", entry))
    yield table


def _told(start: str, entry: dict[str, Any]) -> Text:
    line = Text(start, style="quiet")
    gone = entry["corrected"]
    line.append(visible(on_one_line(entry["says"])), style="not dim strike" if gone else "not dim")
    if gone:
        line.append(f" [no longer counts: see {gone['by']}]", style="not dim")
    return line


def exported(cases: Sequence[str], folder: Path, force: bool) -> None:
    """Write cases into a folder, each file whole or not at all, and say where."""
    _make(folder)
    with open_casebook() as casebook:
        stories = [casebook.events(casebook.find(case)) for case in dict.fromkeys(cases)]
    files = {folder / f"{replay(story).id}.yaml": story_text(story) for story in stories}
    for path in files:
        may_be_written(path, force)
    for path, text in files.items():
        write_whole(path, text, force)
        print_lines([str(path)])


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        got = error.strerror or str(error)
        raise Unavailable(f"{folder}: expected a folder, got {got}; name another one") from error


def imported(files: Sequence[Path]) -> None:
    """Take up stories, all of which must be sound, and say what was new."""
    knowledge = load_knowledge()
    stories = [read_story(file, knowledge) for file in files]
    with open_casebook() as casebook:
        for story in stories:
            new = casebook.merge(story)
            print_lines([f"{replay(story).id}: {counted(new, 'new event')}"])
