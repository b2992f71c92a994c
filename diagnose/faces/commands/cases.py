"""``rowfault cases``: the user's own cases; list, search, show, export and import them."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from diagnose.faces.commands.options import (
    MOST_LISTED,
    READABLE,
    WORDS,
    Group,
    colour_option,
    json_option,
    who_option,
)
from diagnose.faces.commands.suggest import suggest_cases, suggest_machines


@click.group(cls=Group)
def cases() -> None:
    """Keep and find your own cases.

    CASE is an id, the unique beginning of one, or last: the case that you worked last.
    The casebook is a file in your data folder, or the database that ROWFAULT_CASEBOOK names
    (for example postgresql://name@host/rowfault).

    Example:
      rowfault cases list --open
    """


@cases.command("list")
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
    "--limit", type=click.IntRange(1, MOST_LISTED), default=50, show_default=True, help="At most."
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
    from diagnose.faces.cases import listed
    from diagnose.store.entry import Wanted

    text = " ".join(words) if words else None
    day = since.date() if since else None
    listed(Wanted(still_open, machine, cause, day, text, limit), as_json)


@cases.command("show")
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
    from diagnose.faces.cases import shown

    shown(case, who, as_json=as_json, colour=not no_colour)


@cases.command("export")
@click.argument("case", nargs=-1, type=WORDS, shell_complete=suggest_cases)
@click.option("--all", "every", is_flag=True, help="Every case of the casebook.")
@click.option(
    "--to",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
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
    from diagnose.faces.cases import exported

    if every == bool(case):
        raise click.UsageError("Missing argument: name cases, or say --all.")
    exported(case, folder, force, who, every)


@cases.command("check")
def check_casebook() -> None:
    """Say whether the casebook is whole.

    Every entry is read and held against its hash. What is damaged is named, and nothing is changed;
    export writes what is whole.

    Example:
      rowfault cases check
    """
    from diagnose.faces.cases import checked

    checked()


@cases.command("reopen")
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
    from diagnose.faces.cases import reopened

    reopened(case, reason, who)


@cases.command("import")
@click.argument("file", nargs=-1, required=True, type=READABLE)
def import_cases(file: tuple[Path, ...]) -> None:
    """Take up cases from files that export wrote.

    What is here already is left as it is; what is new is added. A FILE that is not sound changes
    nothing.

    Example:
      rowfault cases import cases/20260301-mounted-12-5e1c09.yaml
    """
    from diagnose.faces.cases import imported

    imported(file)


@cases.command("learn")
@click.option("--show", "wish", flag_value="show", default="show", help="Show it, change nothing.")
@click.option("--accept", "wish", flag_value="accept", help="Make it the priors from now on.")
@click.option("--forget", "wish", flag_value="forget", help="Go back to the shipped priors.")
@click.option("--who", type=WORDS, help="Who accepts, if not the one who is logged in.")
@json_option
def learn_from_cases(*, wish: str, who: str | None, as_json: bool) -> None:
    """Learn from closed cases how often parts fail.

    Shows how far your own closed cases would move the shipped priors, and which of those they
    contradict. Nothing changes until you accept; every ranking and plan then says so. What was
    accepted before is kept beside it.

    Example:
      rowfault cases learn --show
    """
    from diagnose.faces.learning import accept_lesson, forget_lesson, show_lesson, told_by

    if as_json and wish != "show":
        raise click.UsageError(f"--json goes with --show only, not with --{wish}.")
    if wish == "forget":
        forget_lesson()
        return
    from diagnose.store.casebook import open_casebook

    by = told_by(who) if wish == "accept" else None
    with open_casebook() as casebook:
        entries = casebook.entries()
    if by is not None:
        accept_lesson(entries, by)
    else:
        show_lesson(entries, as_json)


@cases.command("read")
@click.argument("case", required=False, type=WORDS)
@click.option("--topic", type=WORDS, help="List only those about this.")
@click.option("--all", "at_once", is_flag=True, help="Show everything without waiting.")
@colour_option
def read_case(*, case: str | None, topic: str | None, at_once: bool, no_colour: bool) -> None:
    """Read worked cases, step by step.

    Without CASE they are listed by topic. With the id of one, each step asks what you would do;
    Enter shows what is likely, what to do next and why. All of them are invented.

    Example:
      rowfault cases read swapped-coil
    """
    from diagnose.faces.lessons import list_lessons, read_lesson
    from diagnose.faces.output import console

    if case is None:
        list_lessons(topic)
        return

    def wait() -> None:
        if not at_once:
            click.prompt("(Enter)", default="", show_default=False, prompt_suffix=" ")

    read_lesson(case, console(not no_colour), wait)


@cases.command("coverage")
@json_option
def show_what_is_covered(as_json: bool) -> None:
    """Say what the worked cases leave out.

    Layouts, part kinds, modes, patterns, rules and kinds of act are counted.

    Example:
      rowfault cases coverage
    """
    from diagnose.faces.lessons import show_coverage

    show_coverage(as_json)
