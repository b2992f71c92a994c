"""``rowfault machine``: the machines that are known, what each looks like, is a layout sound."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from diagnose.faces.options import json_option
from diagnose.faces.suggest import suggest_machines

if TYPE_CHECKING:
    pass


@click.group()
def machine() -> None:
    """List machines, show what depends on what, check a layout of your own.

    \b
    Example:
      rowfault machine show mounted-12 --row 6
    """


@machine.command("list")
@json_option
def list_machines(as_json: bool) -> None:
    """List the machines that are known, shipped ones and your own.

    \b
    Example:
      rowfault machine list
    """
    from diagnose.knowledge.base import load_knowledge
    from diagnose.machine.graph import load_machine

    knowledge = load_knowledge()
    machines = [load_machine(id, knowledge) for id in knowledge.layouts]
    if as_json:
        from diagnose.faces.output import print_json

        found = [{"id": each.id, "name": each.name, "rows": each.rows} for each in machines]
        print_json({"schema": "rowfault/machines/1", "machines": found})
        return
    width = max((len(each.id) for each in machines), default=0)
    for each in machines:
        click.echo(f"{each.id.ljust(width)}  {each.rows:>3} rows  {each.name}")


@machine.command("show")
@click.argument("name", metavar="MACHINE", shell_complete=suggest_machines)
@click.option("--row", type=int, help="Show only what this row depends on.")
@json_option
def show_machine(name: str, row: int | None, as_json: bool) -> None:
    """Draw MACHINE as a tree: what needs what.

    \b
    Example:
      rowfault machine show mounted-12 --row 6
    """
    from diagnose.knowledge.base import load_knowledge
    from diagnose.machine.graph import load_machine

    built = load_machine(name, load_knowledge())
    if row is not None and not 1 <= row <= built.rows:
        raise click.BadParameter(
            f"{row} is not a row from 1 to {built.rows}.", param_hint="'--row'"
        )
    if as_json:
        from diagnose.faces.output import print_json

        print_json(_facts(built, row))
    else:
        click.echo(_drawn(built, row))


@machine.command("check")
@click.argument("file", type=click.Path())
def check_layout(file: str) -> None:
    """Check the layout in FILE and report everything that is wrong with it.

    \b
    Example:
      rowfault machine check mine.yaml
    """
    from pathlib import Path

    from diagnose.knowledge.base import load_knowledge
    from diagnose.machine.graph import read_machine

    built = read_machine(Path(file), load_knowledge())
    click.echo(f"{file} is sound: {built.id}, {built.rows} rows, {len(built.parts)} parts.")
