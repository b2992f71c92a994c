"""``rowfault explain``: pages of the manual."""

from __future__ import annotations

import click

from diagnose.faces.commands.options import ARGUMENT, Command, colour_option, json_option
from diagnose.faces.commands.suggest import suggest_ids


@click.command(cls=Command)
@click.argument("topic", nargs=-1, type=ARGUMENT, shell_complete=suggest_ids)
@click.option("--plain", is_flag=True, help="Print the page as plain Markdown text.")
@json_option
@colour_option
@click.pass_context
def explain(
    context: click.Context, *, topic: tuple[str, ...], plain: bool, as_json: bool, no_colour: bool
) -> None:
    """Explain an id, a word or a command.

    TOPIC is the id of a rule, part kind, part, mode, check, circumstance, act, layout or group of
    causes, a command, a word or a guide; for other words the pages that speak of them are listed.
    Without it, what there is to read. In a pipe the page is plain Markdown text.

    Example:
      rowfault explain valve:coil_open
      rowfault explain tutorial
      rowfault explain kinked hose
    """
    from diagnose.faces.explaining import show

    program = context.find_root().command
    assert isinstance(program, click.Group)
    show(" ".join(topic), program, as_json=as_json, plain=plain, colour=not no_colour)
