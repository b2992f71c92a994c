"""``rowfault cases``: the casebook listed, searched, shown, exported, imported."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from diagnose.faces.commands.options import READABLE, Function, Group, json_option
from diagnose.faces.commands.suggest import suggest_cases, suggest_machines

FOLDER = click.Path(file_okay=False, path_type=Path)


@click.group(cls=Group)
def cases() -> None:
    """List, search, show, export and import cases.

    A CASE is named by its id, by a beginning that only it has, or by the word
    last. The casebook is a file in your own folder, or where ROWFAULT_CASEBOOK
    says: the path of a file, or a URL such as postgresql://user@host/casebook.

    Example:
      rowfault cases list --open
    """


def filters(command: Function) -> Function:
    """Add what narrows a list; the command receives them as keywords."""
    added: list[Callable[[Function], Function]] = [
        click.option("--open/--closed", "is_open", default=None, help="Those that go on, or not."),
        click.option("--machine", shell_complete=suggest_machines, help="Those on this machine."),
        click.option("--cause", help="Those closed with this cause, or a part of its id."),
        click.option(
            "--since",
            type=click.DateTime(["%Y-%m-%d"]),
            metavar="DAY",
            help="Those with something told since this day (YYYY-MM-DD, UTC).",
        ),
        click.option(
            "--limit",
            type=click.IntRange(1),
            default=50,
            show_default=True,
            help="So many at most.",
        ),
        json_option,
    ]
    for add in reversed(added):
        command = add(command)
    return command


@cases.command("list")
@filters
def list_cases(*, since: datetime | None, as_json: bool, **wanted: Any) -> None:
    """List cases, the one added to last first.

    Example:
      rowfault cases list --closed --cause coil_open --since 2026-03-01
    """
    from diagnose.faces.casebook import show_list

    show_list(since=since.date() if since else None, text=None, as_json=as_json, **wanted)


@cases.command("search")
@click.argument("words", nargs=-1, required=True)
@filters
def search(*, words: tuple[str, ...], since: datetime | None, as_json: bool, **wanted: Any) -> None:
    """Find cases by words.

    All WORDS must be in the title, the notes, the people, the causes or the
    machine of a case; each may go on there.

    Example:
      rowfault cases search chafed hose
    """
    from diagnose.faces.casebook import show_list

    text = " ".join(words)
    show_list(since=since.date() if since else None, text=text, as_json=as_json, **wanted)


@cases.command("show")
@click.argument("case", shell_complete=suggest_cases)
@json_option
def show_case(case: str, as_json: bool) -> None:
    """Show a case event by event.

    What was taken back or put right is marked. CASE is an id, a beginning that
    only one case has, or last.

    Example:
      rowfault cases show last
    """
    from diagnose.faces.casebook import show

    show(case, as_json)


@cases.command("export")
@click.argument("cases", nargs=-1, shell_complete=suggest_cases)
@click.option("--all", "every", is_flag=True, help="Export every case.")
@click.option("--to", "folder", type=FOLDER, help="Write one file a case into this folder.")
def export_cases(cases: tuple[str, ...], every: bool, folder: Path | None) -> None:
    """Write cases as YAML, one file a case.

    Each of CASES is an id, a beginning that only one case has, or last.
    Without --to one case is printed.

    Example:
      rowfault cases export last --to cases
    """
    from diagnose.faces.casebook import export

    if every == bool(cases):
        raise click.UsageError("Name cases, or give --all.")
    if folder is None and (every or len(cases) > 1):
        raise click.UsageError("Several cases want a folder: give --to FOLDER.")
    export(cases, folder)


@cases.command("import")
@click.argument("files", nargs=-1, required=True, type=READABLE)
@json_option
def import_cases(files: tuple[Path, ...], as_json: bool) -> None:
    """Take cases in from YAML or JSON files.

    All FILES are checked first; then all are taken in, or none. What is there
    already is not added again, and what is new of a known case is added to it.

    Example:
      rowfault cases import cases/20260301-mounted-12-1a2b3c.yaml
    """
    from diagnose.faces.casebook import take_in

    take_in(files, as_json)
