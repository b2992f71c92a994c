"""What the ``rowfault cases`` commands do."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

import click

from diagnose.cases.collecting import collected, refuse
from diagnose.cases.rows import rows_in_words
from diagnose.errors import Problem, Unavailable, on_one_line
from diagnose.faces.output import print_json, print_lines
from diagnose.faces.storywords import told_lines
from diagnose.faces.words import counted, minutes_text, plain
from diagnose.knowledge.base import load_knowledge
from diagnose.store.casebook import Merged, open_casebook
from diagnose.store.entry import Entry, Wanted, entry_of
from diagnose.story.archive import read_story, story_data, story_text
from diagnose.story.event import Event
from diagnose.story.replay import replay


def show_list(
    *,
    is_open: bool | None,
    machine: str | None,
    cause: str | None,
    since: date | None,
    text: str | None,
    limit: int,
    as_json: bool,
) -> None:
    """Print the cases that are wanted. Raises subclasses of `Unavailable`."""
    wanted = Wanted(is_open, machine, cause, since, text, limit)
    with open_casebook() as casebook:
        entries = casebook.entries(wanted)
    if as_json:
        print_json({"schema": "rowfault/cases/1", "cases": [entry_data(each) for each in entries]})
        return
    print_lines(line for entry in entries for line in entry_lines(entry))
    if not entries:
        print_lines(["No case is like that." if wanted != Wanted(limit=limit) else "No cases yet."])
    elif len(entries) == limit:
        print_lines([f"These are the last {limit:,}; --limit shows more."])


def entry_data(entry: Entry) -> dict[str, Any]:
    """An entry as plain data."""
    times = {"opened": entry.opened.isoformat(), "last": entry.last.isoformat()}
    return {**asdict(entry), **times}


def entry_lines(entry: Entry) -> Iterator[str]:
    r"""An entry in two lines or three: when and what, what of it, how it ended.

    >>> from datetime import UTC, datetime
    >>> at = datetime(2026, 3, 1, 8, tzinfo=UTC)
    >>> entry = Entry("20260301-a", "mounted-6", "slow", at, at, "open", (), (6,), 0.0)
    >>> print(*entry_lines(entry), sep="\n")
    20260301-a  open
      mounted-6: row 6. slow
    """
    yield f"{entry.case}  {plain(entry.outcome)}{_length(entry)}"
    rows = f": {rows_in_words(entry.rows_failed)}." if entry.rows_failed else "."
    yield on_one_line(f"  {entry.machine}{rows} {entry.title}".rstrip())
    if entry.causes:
        yield on_one_line(f"  cause: {', '.join(entry.causes)}")


def _length(entry: Entry) -> str:
    return "" if entry.outcome == "open" else f" after {minutes_text(entry.minutes)}"


def show(case: str, as_json: bool) -> None:
    """Print a case's story. Raises `UnknownName`, `InputError`, subclasses of `Unavailable`."""
    with open_casebook() as casebook:
        events = casebook.events(case)
    if as_json:
        print_json(story_data(events))
        return
    state = replay(events)
    print_lines(entry_lines(entry_of(state)))
    print_lines(told_lines(state))


def export(cases: Sequence[str], folder: Path | None) -> None:
    """Print cases in UTF-8 whatever the terminal has, or write them into a folder,
    every one when none is named.

    Raises as `show`, and `Unavailable` when a file cannot be written.
    """
    with open_casebook() as casebook:
        named = cases or [entry.case for entry in casebook.entries()]
        stories = [casebook.events(case) for case in named]
    if folder is None:
        for story in stories:
            click.echo(story_text(story).encode(), nl=False)
        return
    for story in stories:
        path = folder / f"{replay(story).id}.yaml"
        _write(path, story_text(story))
        print_lines([str(path)])


def _write(path: Path, text: str) -> None:
    """Write a file so that it is whole or not there at all."""
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_text(text, encoding="utf-8", newline="\n")
        beside.replace(path)
    except OSError as error:
        with suppress(OSError):
            beside.unlink()
        says = f"{path}: expected a file that can be written, got {error.strerror or error}"
        raise Unavailable(f"{says}; look at the folder and its permissions") from error


def take_in(files: Sequence[Path], as_json: bool) -> None:
    """Check all files, then take all in, or none.

    Raises `FileProblems` with everything that is wrong in any of them, `InputError` when a case
    here is another one, subclasses of `Unavailable`.
    """
    stories = _stories(files)
    with open_casebook() as casebook:
        merged = casebook.merge(*stories)
    if as_json:
        print_json({"schema": "rowfault/import/1", "cases": [asdict(each) for each in merged]})
    else:
        print_lines(map(merged_line, merged))


def _stories(files: Sequence[Path]) -> list[tuple[Event, ...]]:
    knowledge, problems = load_knowledge(), list[Problem]()
    stories: list[tuple[Event, ...]] = []
    for path in files:
        with collected(problems):
            stories.append(read_story(path, knowledge))
    refuse(problems)
    return stories


def merged_line(merged: Merged) -> str:
    """What came of one file.

    >>> merged_line(Merged("20260301-a", True, 6, 0))
    '20260301-a: new, 6 events.'
    >>> merged_line(Merged("20260301-a", False, 0, 6))
    '20260301-a: nothing new, 6 events were here.'
    """
    if merged.new:
        return f"{merged.case}: new, {counted(merged.added, 'event')}."
    were = "was" if merged.known == 1 else "were"
    added = f"{counted(merged.added, 'event')} added" if merged.added else "nothing new"
    return f"{merged.case}: {added}, {counted(merged.known, 'event')} {were} here."
