"""``rowfault ready``: what to see to before the checks, and the record after them."""

from __future__ import annotations

import click

from diagnose.faces.commands.options import (
    ARGUMENT,
    NAME_OR_PATH,
    Command,
    force_option,
    format_option,
    json_option,
    who_option,
)
from diagnose.faces.commands.suggest import suggest_arguments, suggest_first


@click.command(cls=Command)
@click.argument("machine", required=False, type=NAME_OR_PATH, shell_complete=suggest_first)
@click.argument("circumstances", nargs=-1, type=ARGUMENT, shell_complete=suggest_arguments)
@click.option(
    "--case",
    metavar="CASE",
    type=NAME_OR_PATH,
    help="The season record of this case instead; last is yours.",
)
@click.option(
    "-o",
    "--output",
    type=NAME_OR_PATH,
    metavar="FILE",
    help="Write a sheet: FILE.html, FILE.md or FILE.json; - prints.",
)
@format_option
@force_option
@json_option
@who_option
def ready(
    *,
    machine: str | None,
    circumstances: tuple[str, ...],
    case: str | None,
    output: str | None,
    form: str | None,
    force: bool,
    as_json: bool,
    who: str | None,
) -> None:
    """List what to see to before the checks.

    MACHINE is the id of a layout or a path to a layout file. CIRCUMSTANCES are what is known
    already, such as oil=54C, engine=on or first-hookup=yes; what is good needs no more minutes.

    With --case and a machine that is proven good, the season record: its runs, what was repaired,
    what proves it, and a line for the signature.

    Example:
      rowfault ready mounted-12 oil=15C first-hookup=yes
    """
    from diagnose.faces.reporting import shown_readiness, shown_season

    if output and as_json:
        raise click.UsageError(f"Give -o {output} or --json, not both.")
    if case:
        if machine:
            raise click.UsageError(
                f"Give {machine} or --case {case}, not both: the case names its machine."
            )
        shown_season(case, output, form, force, as_json, who)
    elif machine:
        shown_readiness(machine, circumstances, output, form, force, as_json)
    else:
        raise click.UsageError("Missing argument 'MACHINE', or --case with a case.")
