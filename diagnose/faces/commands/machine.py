"""``rowfault machine``: the machines that are known, what each looks like, is a layout sound."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.faces.commands.options import NAME_OR_PATH, READABLE, Group, json_option
from diagnose.faces.commands.suggest import suggest_machines


@click.group(cls=Group)
def machine() -> None:
    """List, show and check machines.

    Example:
      rowfault machine show mounted-12 --row 6
    """


@machine.command("list")
@json_option
def list_machines(as_json: bool) -> None:
    """List the machines that are known.

    These are the shipped ones and those in your own folder.

    Example:
      rowfault machine list
    """
    from diagnose.faces.machines import list_all

    list_all(as_json)


@machine.command("show")
@click.argument("machine", type=NAME_OR_PATH, shell_complete=suggest_machines)
@click.option("--row", type=int, help="Show what this row depends on, part by part.")
@json_option
def show_machine(machine: str, row: int | None, as_json: bool) -> None:
    """Draw a machine: what needs what.

    MACHINE is the id of a layout or a path to a layout file.

    Example:
      rowfault machine show mounted-12 --row 6
    """
    from diagnose.faces.machines import show

    show(machine, row, as_json)


@machine.command("check")
@click.argument("file", type=READABLE)
def check_layout(file: Path) -> None:
    """Check a layout of your own.

    Everything that is wrong with the layout in FILE is reported at once, with its line.

    Example:
      rowfault machine check mine.yaml
    """
    from diagnose.faces.machines import check

    check(file)
