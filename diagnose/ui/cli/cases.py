"""``rowfault cases``: the user's own cases; list, search, show, export and import them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import click
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from diagnose.errors import Damaged, FileProblems, Problem, Unavailable, on_one_line
from diagnose.knowledge.base import load_knowledge
from diagnose.observations.archive import read_story, rest_text, story_text
from diagnose.observations.entries import Event, Reopened, new_event
from diagnose.observations.state import replay
from diagnose.observations.text import OUTCOMES, in_hand
from diagnose.projection import Projection
from diagnose.reports.forms.case import TimelineEntry
from diagnose.reports.listings import build_cases_report
from diagnose.reports.story import build_story_report, timeline_of
from diagnose.store.entry import STILL_OPEN, Entry, Wanted
from diagnose.ui.cli.completion import suggest_cases, suggest_machines
from diagnose.ui.cli.options import (
    MOST_LIMIT,
    READABLE,
    WORDS,
    FilePath,
    colour_option,
    json_option,
    who_option,
)
from diagnose.ui.cli.who import case_named, opened_casebook, person
from diagnose.ui.files import may_be_written, write_whole
from diagnose.ui.lazy import Lazy, LazyGroup
from diagnose.ui.streams import visible
from diagnose.ui.terminal.output import console, print_json, print_lines, print_tidily
from diagnose.ui.words import how_many, minutes_text


@click.group("cases", cls=LazyGroup)
def cases_command() -> None:
    """Keep and find your own cases.

    CASE is an id, the unique beginning of one, or last: the case that you worked last.
    The casebook is a file in your data folder, or the database that ROWFAULT_CASEBOOK names
    (for example postgresql://name@host/rowfault).

    Example:
      rowfault cases list --open
    """


@cases_command.command("list")
@click.argument("words", nargs=-1, type=WORDS)
@click.option("--open/--closed", "still_open", default=None, help="Only those, or only the others.")
@click.option(
    "--machine",
    type=WORDS,
    help="Only cases of this machine.",
    shell_complete=suggest_machines,
)
@click.option(
    "--cause", type=WORDS, help="Only cases that ended with this cause, or a part of its id."
)
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), help="Opened on that day or later.")
@click.option(
    "--limit", type=click.IntRange(1, MOST_LIMIT), default=50, show_default=True, help="At most."
)
@json_option
def list_cases(
    *,
    words: tuple[str, ...],
    still_open: bool | None,
    machine: str | None,
    cause: str | None,
    since: datetime | None,
    limit: int,
    as_json: bool,
) -> None:
    """List cases, the latest first.

    With WORDS, only those in whose titles, notes, people, work and causes all of them stand.

    Example:
      rowfault cases list hose --machine mounted-12 --since 2026-03-01
    """
    text = " ".join(words) if words else None
    day = since.date() if since else None
    _listed(Wanted(still_open, machine, cause, day, text, limit), as_json)


@cases_command.command("show")
@click.argument("case", type=WORDS, shell_complete=suggest_cases)
@who_option
@json_option
@colour_option
def show_case(case: str, who: str | None, as_json: bool, no_colour: bool) -> None:
    """Show what was told in a case, in order.

    CASE is an id, the beginning of one, or last. What was corrected is shown with what took its
    place.

    Example:
      rowfault cases show last
    """
    shown(case, who, as_json=as_json, colour=not no_colour)


@cases_command.command("export")
@click.argument("case", nargs=-1, type=WORDS, shell_complete=suggest_cases)
@click.option("--all", "every", is_flag=True, help="Every case of the casebook.")
@click.option(
    "--to",
    "folder",
    type=FilePath(file_okay=False, path_type=Path),
    default=Path(),
    help="The folder for the files, if not this one.",
)
@click.option("--force", is_flag=True, help="Replace files that are there.")
@who_option
def export_cases(
    *, case: tuple[str, ...], every: bool, folder: Path, force: bool, who: str | None
) -> None:
    """Write cases as YAML, one file each.

    CASE is an id, the beginning of one, or last. A file has everything that was told, and is taken
    up elsewhere with import. Of a damaged case, what is whole is written.

    Example:
      rowfault cases export last --to cases
    """
    if every == bool(case):
        raise click.UsageError("Missing argument: name cases, or say --all.")
    exported(case, folder, force, who, every)


@cases_command.command("check")
def check_casebook() -> None:
    """Say whether the casebook is whole.

    Every entry is read and held against its hash. What is damaged is named, and nothing is changed;
    export writes what is whole.

    Example:
      rowfault cases check
    """
    checked()


@cases_command.command("reopen")
@click.argument("case", type=WORDS, shell_complete=suggest_cases)
@click.option("--reason", required=True, type=WORDS, help="Why the case goes on.")
@click.option("--who", type=WORDS, help="Who reopens it; your login name when left out.")
def reopen_case(case: str, reason: str, who: str | None) -> None:
    """Reopen a closed case.

    CASE is an id, the beginning of one, or last. It takes answers again, and needs a new
    conclusion. What was told stays, the old conclusion and the reason too.

    Example:
      rowfault cases reopen last --reason "row 6 failed again in the field"
    """
    reopened(case, reason, who)


@cases_command.command("import")
@click.argument("file", nargs=-1, required=True, type=READABLE)
def import_cases(file: tuple[Path, ...]) -> None:
    """Take up cases from files that export wrote.

    What is here already is left as it is; what is new is added. A FILE that is not sound changes
    nothing.

    Example:
      rowfault cases import cases/20260301-mounted-12-5e1c09.yaml
    """
    imported(file)


for name, where, says in (
    ("learn", "learn:learn_command", "Learn from closed cases how often parts fail."),
    ("read", "lessons:read_command", "Read worked cases, step by step."),
    ("coverage", "lessons:coverage_command", "Say what the worked cases leave out."),
):
    cases_command.add_command(Lazy(name, f"diagnose.ui.cli.{where}", says))


def _listed(wanted: Wanted, as_json: bool) -> None:
    """Print the cases that are wanted."""
    with opened_casebook() as casebook, whole_first(lambda entries: _print(entries, as_json)):
        _print(casebook.entries(wanted), as_json)


def _print(entries: Sequence[Entry], as_json: bool) -> None:
    if as_json:
        print_json(build_cases_report(entries))
        return
    print_lines(line for entry in entries for line in _lines(entry))
    if not entries:
        print_lines(["No such case."])


@contextmanager
def whole_first(show: Callable[[Sequence[Any]], None]) -> Iterator[None]:
    """Where the casebook is damaged, show what is whole before the error is said."""
    try:
        yield
    except Damaged as damaged:
        if damaged.whole:
            show(damaged.whole)
        raise


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
    owner = f", with {visible(on_one_line(entry.owner))}" if _goes_on(entry) else ""
    yield f"{entry.case}  {OUTCOMES[entry.outcome]}, {minutes_text(entry.minutes)}{owner}"
    about = [visible(on_one_line(entry.title))] if entry.title else []
    about += [", ".join(entry.causes)] if entry.causes else []
    if about:
        yield f"    {'; '.join(about)}"


def _goes_on(entry: Entry) -> bool:
    return entry.outcome == STILL_OPEN and bool(entry.owner)


def shown(case: str, who: str | None, *, as_json: bool, colour: bool) -> None:
    """Print what was told in a case."""

    def show(events: Sequence[Event]) -> None:
        _show(events, as_json=as_json, colour=colour)

    with opened_casebook() as casebook, whole_first(show):
        show(casebook.events(case_named(casebook, case, who)))


def _show(events: Sequence[Event], *, as_json: bool, colour: bool) -> None:
    if as_json:
        print_json(build_story_report(events))
        return
    view = Projection(replay(events), load_knowledge())
    out = console(colour)
    for line in story_lines(view):
        print_tidily(out, line)


def story_lines(view: Projection) -> Iterator[RenderableType]:
    """A story for people: a row for each thing told, what no longer counts struck through.

    >>> from diagnose.observations.entries import Correction, Noted, Opened, new_event
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "Ann")
    >>> note = new_event(Noted("hose chafed"), "Ann")
    >>> state = replay([first, note, new_event(Correction(event=note.id), "Ann")])
    >>> [_, owner, table] = story_lines(Projection(state, load_knowledge()))
    >>> [cell.plain.partition("Ann: ")[2] for cell in table.columns[1].cells][1:]
    ['note: hose chafed [no longer counts: see 3]', 'entry 2 does not count']
    """
    state = view.state
    yield Text(f"{state.id}: {view.machine.id}, {view.machine.rows} rows", style="title")
    if state.title:
        yield Text(visible(on_one_line(state.title)))
    if state.open:
        yield Text(visible(on_one_line(in_hand(state))))
    table = Table.grid(padding=(0, 2))
    table.add_column(justify="right", no_wrap=True)
    table.add_column()
    for entry in timeline_of(state, view.machine, view.knowledge):
        at = state.told[entry.number - 1].event.at.astimezone()
        who = visible(on_one_line(entry.who))
        table.add_row(str(entry.number), _told(f"{at:%Y-%m-%d %H:%M} {who}: ", entry))
    yield table


def _told(start: str, entry: TimelineEntry) -> Text:
    line = Text(start, style="quiet")
    gone = entry.corrected
    line.append(visible(on_one_line(entry.says)), style="not dim strike" if gone else "not dim")
    if gone:
        line.append(f" [no longer counts: see {gone.by}]", style="not dim")
    return line


def exported(
    cases: Sequence[str], folder: Path, force: bool, who: str | None = None, every: bool = False
) -> None:
    """Write cases into a folder, each file whole or not at all, and say where.

    Of a damaged case the entries before the first bad one are written, and those after it that
    are whole into a file beside it, which is for people. Raises `FileProblems` that names the
    first bad entry of each, after all the files were written.
    """
    _make(folder)
    broken: list[Problem] = []
    with opened_casebook() as casebook:
        ids = casebook.ids() if every else [case_named(casebook, case, who) for case in cases]
        files: dict[Path, str] = {}
        for case in dict.fromkeys(ids):
            try:
                files |= dict(_files(folder, case, casebook.events(case)))
            except Damaged as damaged:
                broken.append(damaged.problem)
                files |= dict(_files(folder, case, damaged.whole, damaged.rest))
    for path in files:
        may_be_written(path, force)
    for path, text in files.items():
        write_whole(path, text, force)
        print_lines([visible(str(path))])
    if broken:
        raise FileProblems(broken)


def _files(
    folder: Path, case: str, events: Sequence[Event], rest: Sequence[Event] = ()
) -> Iterator[tuple[Path, str]]:
    """What is written of a case: its entries, and those that are whole after a damaged one."""
    name = re.sub(r"[^a-z0-9-]", "_", case)[:100]  # a damaged id may be anything
    if events:
        yield folder / f"{name}.yaml", story_text(events)
    if rest:
        yield folder / f"{name}.rest.yaml", rest_text(case, len(events) + 1, rest)


def checked() -> None:
    """Read all that is in the casebook, and say what is damaged. Raises `FileProblems`."""
    with opened_casebook() as casebook:
        health = casebook.check()
    entries = "1 entry" if health.entries == 1 else f"{health.entries:,} entries"
    many = f"{how_many(health.cases, 'case')}, {entries}"
    if health.problems:
        print_lines([f"{many} could be read."])
        raise FileProblems(health.problems)
    print_lines([f"{many}: all as they were stored."])


def reopened(case: str, reason: str, who: str | None) -> None:
    """Reopen a closed case, and say how to go on with it."""
    by = person(who)
    with opened_casebook() as casebook:
        id = casebook.find(case, by)
        seen = casebook.events(id)[-1].id
        casebook.add(id, replace(new_event(Reopened(reason=reason), by), seen=seen))
    print_lines([f"Reopened. Go on with: rowfault work --case {id}"])


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
    with opened_casebook() as casebook:
        for story in stories:
            new = casebook.merge(story)
            print_lines([f"{replay(story).id}: {how_many(new, 'new event')}"])
