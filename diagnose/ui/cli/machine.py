"""``rowfault machine``: the machines that are known, what each looks like, is a layout sound."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine, read_machine
from diagnose.machine.tree import describe_row, draw_tree
from diagnose.reports.listings import build_machine_facts, build_machines_report
from diagnose.ui.cli.completion import suggest_machines
from diagnose.ui.cli.options import NAME_OR_PATH, READABLE, json_option
from diagnose.ui.lazy import LazyGroup
from diagnose.ui.terminal.output import print_json, print_lines


@click.group("machine", cls=LazyGroup)
def machine_command() -> None:
    """List, show and check machines.

    Example:
      rowfault machine show mounted-12 --row 6
    """


@machine_command.command("list")
@json_option
def list_machines(as_json: bool) -> None:
    """List the machines that are known.

    These are the shipped ones and those in your own folder.

    Example:
      rowfault machine list
    """
    _list_all(as_json)


@machine_command.command("show")
@click.argument("machine", type=NAME_OR_PATH, shell_complete=suggest_machines)
@click.option("--row", type=int, help="Show what this row depends on, part by part.")
@json_option
def show_machine(machine: str, row: int | None, as_json: bool) -> None:
    """Draw a machine: what needs what.

    MACHINE is the id of a layout or a path to a layout file.

    Example:
      rowfault machine show mounted-12 --row 6
    """
    _show(machine, row, as_json)


@machine_command.command("check")
@click.argument("file", type=READABLE)
def check_layout(file: Path) -> None:
    """Check a layout of your own.

    Everything that is wrong with the layout in FILE is reported at once, with its line.

    Example:
      rowfault machine check mine.yaml
    """
    _check(file)


def _list_all(as_json: bool) -> None:
    """Print every known machine: id, rows, name."""
    knowledge = load_knowledge()
    machines = [load_machine(name, knowledge) for name in knowledge.layouts]
    if as_json:
        print_json(build_machines_report(machines))
        return
    width = max((len(each.id) for each in machines), default=0)
    print_lines(f"{each.id:<{width}}  {each.rows:>3} rows  {each.name}" for each in machines)


def _show(name: str, row: int | None, as_json: bool) -> None:
    """Print the tree of a machine, or what one of its rows depends on.

    Raises `UnknownName` and `FileProblems` for the machine, `InputError` for the row.
    """
    machine = load_machine(name, load_knowledge())
    lines = draw_tree(machine) if row is None else describe_row(machine, row)
    if as_json:
        print_json(build_machine_facts(machine, row))
    else:
        print_lines(lines)


def _check(path: Path) -> None:
    """Say that a layout is sound. Raises `FileProblems` with everything that is wrong in it."""
    machine = read_machine(path, load_knowledge())
    print_lines(
        [f"{path} is sound: {machine.id}, {machine.rows} rows, {len(machine.parts)} parts."]
    )
