"""``rowfault drill``: practice on hidden faults."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.faces.commands.options import READABLE, Command, colour_option
from diagnose.faces.commands.suggest import suggest_machines

MACHINE = "mounted-12"
MOST = 10_000


@click.command(cls=Command)
@click.argument("machine", required=False, shell_complete=suggest_machines)
@click.option(
    "--level",
    type=click.IntRange(0, 4),
    help="1: one row's part; 2: shared parts; 3: misleading circumstances; 4: two faults; "
    "0: as they come. Level 1 when left out.",
)
@click.option("--seed", type=click.IntRange(0), help="Which drill; by chance when left out.")
@click.option("--code", help="A drill that somebody sent, as one line.")
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
@click.option("--json", "as_json", is_flag=True, help="With --play: print JSON for scripts.")
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
    as_json: bool,
    no_colour: bool,
) -> None:
    """Practise on a hidden fault.

    A fault is drawn on MACHINE (mounted-12 when left out). You see what a technician would see,
    do one thing at a time, and declare the cause; then you are told what each move was worth.

    Example:
      rowfault drill mounted-12 --level 2
      rowfault drill --play planner --count 3 --seed 1
    """
    from diagnose.faces.drilling import Wish, drilled, played_by

    if code is not None and (machine or level is not None or seed is not None):
        raise click.UsageError("Give --code alone, or a MACHINE, --level and --seed.")
    if play is None and (count is not None or as_json):
        raise click.UsageError("Give --count and --json with --play.")
    if play is not None and answers is not None:
        raise click.UsageError("Give --answers or --play, not both.")
    wish = Wish(machine or MACHINE, 1 if level is None else level, seed, code)
    if play is not None:
        played_by(play, wish, count or 1, as_json=as_json)
    else:
        drilled(wish, answers, colour=not no_colour)
