"""``rowfault explain``: the page of anything that has an id."""

from __future__ import annotations

import click

from diagnose.faces.commands.options import Command, colour_option, json_option
from diagnose.faces.commands.suggest import suggest_ids


@click.command(cls=Command)
@click.argument("name", metavar="ID", shell_complete=suggest_ids)
@click.option("--plain", is_flag=True, help="Print the page as plain Markdown text.")
@json_option
@colour_option
def explain(*, name: str, plain: bool, as_json: bool, no_colour: bool) -> None:
    """Explain anything that has an ID.

    That is a rule, part kind, part, mode, check, circumstance or group of causes. In a pipe
    the page is plain Markdown text.

    Example:
      rowfault explain valve:coil_open
    """
    from diagnose.faces.explaining import show

    show(name, as_json=as_json, plain=plain, colour=not no_colour)
