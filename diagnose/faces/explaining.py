"""``rowfault explain``: the page of anything that has an id."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from diagnose.faces.options import colour_option, json_option
from diagnose.faces.suggest import suggest_ids

if TYPE_CHECKING:
    from diagnose.faces.lookup import Explained

SCHEMA = "rowfault/explanation/1"


@click.command()
@click.argument("id", shell_complete=suggest_ids)
@click.option("--plain", is_flag=True, help="Print the page as plain Markdown text.")
@json_option
@colour_option
def explain(id: str, plain: bool, as_json: bool, no_colour: bool) -> None:
    """Explain ID: a rule, part kind, part, mode, check, circumstance or group of causes.

    \b
    Example:
      rowfault explain valve:coil_open
    """
    from diagnose.faces.lookup import explain_id
    from diagnose.faces.output import print_json
    from diagnose.knowledge.base import load_knowledge
    from diagnose.reasoning.loading import load_rules

    found = explain_id(id, load_knowledge(), load_rules())
    if as_json:
        pages = [{"sort": each.sort, "text": each.text, "data": each.data} for each in found]
        print_json({"schema": SCHEMA, "id": id, "pages": pages})
    elif plain:
        click.echo("\n\n".join(each.text for each in found))
    else:
        _show(found, no_colour)


def _show(found: tuple[Explained, ...], no_colour: bool) -> None:
    from rich.markdown import Markdown

    from diagnose.faces.output import console

    screen = console(not no_colour)
    for each in found:
        screen.print(Markdown(each.text), width=min(screen.width, 80))
