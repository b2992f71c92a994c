"""``rowfault drill``: practice on hidden faults."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.faces.commands.options import (
    NAME_OR_PATH,
    READABLE,
    WORDS,
    Command,
    Words,
    colour_option,
)
from diagnose.faces.commands.suggest import suggest_machines

MOST = 10_000


@click.command(cls=Command)
@click.argument("machine", required=False, type=NAME_OR_PATH, shell_complete=suggest_machines)
@click.option(
    "--level",
    type=click.IntRange(0, 4),
    help="1: one row's part; 2: shared parts; 3: misleading circumstances; 4: two faults; "
    "0: as they come. With no MACHINE, --seed or --code either: for your weakest skill; else 1.",
)
@click.option("--seed", type=click.IntRange(0), help="Which drill; by chance when left out.")
@click.option("--code", type=WORDS, help="A drill that somebody sent, as one line.")
@click.option("--answers", type=READABLE, help="Take moves from a file, one on each line.")
@click.option(
    "--play",
    type=click.Choice(["planner", "practice", "random"]),
    help="Let the planner, practice without it, or chance play.",
)
@click.option(
    "--count",
    type=click.IntRange(1, MOST),
    help="With --play: so many drills, of this seed and those that follow.",
)
@click.option("--progress", is_flag=True, help="Show your own record by skill, and what is next.")
@click.option("--who", type=Words(blank=True), help="Whose record; your login name when left out.")
@click.option(
    "--casebook",
    type=NAME_OR_PATH,
    help="The URL of the casebook, if not the one that all commands use.",
)
@click.option(
    "--json", "as_json", is_flag=True, help="With --play or --progress: print JSON for scripts."
)
@colour_option
def drill(
    *,
    machine: str | None,
    level: int | None,
    seed: int | None,
    code: str | None,
    answers: Path | None,
    play: str | None,
    count: int | None,
    progress: bool,
    who: str | None,
    casebook: str | None,
    as_json: bool,
    no_colour: bool,
) -> None:
    """Practise on a hidden fault.

    A fault is drawn on MACHINE (mounted-12 when left out). You see what a technician would see,
    do one thing at a time, and declare the cause; then you are told what each move was worth.
    What you finish is kept in your casebook: marks and skills, never what was hidden.

    Example:
      rowfault drill mounted-12 --level 2
      rowfault drill --progress
      rowfault drill mounted-6 --play practice --count 3 --seed 1
    """
    from diagnose.faces.drilling import Wish, drilled, played_by
    from diagnose.faces.progress import record_of, show_progress

    wish = Wish(machine, level, seed, code)
    if code is not None and wish != Wish(code=code):
        raise click.UsageError(f"Give --code {code} alone, or a MACHINE, --level and --seed.")
    if play is None and (count is not None or (as_json and not progress)):
        raise click.UsageError("Give --count with --play, and --json with --play or --progress.")
    if play is not None and (answers is not None or casebook is not None or who is not None):
        raise click.UsageError(f"Give --answers, --casebook and --who without --play {play}.")
    if progress and (not wish.open or play is not None or answers is not None):
        raise click.UsageError("Give --progress with --who, --casebook and --json only.")
    if play is not None:
        played_by(play, wish, count or 1, as_json=as_json)
        return
    record = record_of(casebook, who)
    if progress:
        show_progress(record, as_json=as_json, colour=not no_colour)
    else:
        drilled(wish, answers, record, colour=not no_colour)
