"""``rowfault work``: a case worked step by step beside the planter."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.faces.commands.options import NAME_OR_PATH, READABLE, WORDS, Command, colour_option
from diagnose.faces.commands.suggest import suggest_cases, suggest_machines


@click.command(cls=Command)
@click.argument("machine", required=False, type=NAME_OR_PATH, shell_complete=suggest_machines)
@click.option(
    "--case",
    type=WORDS,
    help="Go on with this case: an id, the beginning of one, or last (your last one).",
    shell_complete=suggest_cases,
)
@click.option("--who", type=WORDS, help="Who tells it; your login name when left out.")
@click.option("--title", type=WORDS, help="What a new case is about, in a few words.")
@click.option("--answers", type=READABLE, help="Take answers from a file, one on each line.")
@click.option("--scratch", is_flag=True, help="Keep nothing: to try it out.")
@colour_option
def work(
    *,
    machine: str | None,
    case: str | None,
    who: str | None,
    title: str | None,
    answers: Path | None,
    scratch: bool,
    no_colour: bool,
) -> None:
    """Work a case, step by step.

    Opens a case for MACHINE, or goes on with one, and asks for one thing at a time, from the
    first failing row to proven good. Every answer is kept at once; quit at any time, go on later.

    Example:
      rowfault work mounted-12
      rowfault work --case last
    """
    from diagnose.faces.working import Wish, worked

    if bool(machine) == bool(case):
        got = f"{machine} and --case {case}" if case else "neither"
        raise click.UsageError(f"Give a MACHINE for a new case, or --case to go on; got {got}.")
    if case and scratch:
        raise click.UsageError(
            f"Give --scratch with a MACHINE: nothing of --case {case} would be kept."
        )
    wish = Wish(machine, case, who, title, scratch)
    worked(wish, answers, colour=not no_colour)
