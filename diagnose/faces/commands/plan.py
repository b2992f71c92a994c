"""``rowfault plan``: what to do, what each outcome would mean, and what to do then."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.faces.commands.options import Command, case_input, colour_option, json_option


@click.command(cls=Command)
@case_input
@click.option(
    "--goal",
    type=click.Choice(["restore", "isolate"]),
    default="restore",
    show_default=True,
    help="Fewest minutes to a machine proven good, or most told per minute.",
)
@click.option(
    "--depth",
    type=click.IntRange(1, 6),
    metavar="N",
    default=2,
    show_default=True,
    help="How many acts deep to plan.",
)
@click.option(
    "--no",
    "without",
    multiple=True,
    type=click.Choice(["gauge", "meter", "display"]),
    help="A tool that is not at hand; may be given again.",
)
@click.option("--alone", is_flag=True, help="There is no second person.")
@click.option("--dot", "as_dot", is_flag=True, help="Print the tree as a Graphviz DOT graph.")
@json_option
@colour_option
def plan(
    *,
    machine: str | None,
    arguments: tuple[str, ...],
    file: Path | None,
    log: Path | None,
    goal: str,
    depth: int,
    without: tuple[str, ...],
    alone: bool,
    as_dot: bool,
    as_json: bool,
    no_colour: bool,
) -> None:
    """Plan tests and repairs as a tree.

    MACHINE and ARGUMENTS are as for rank; work that was done goes between the runs:

      replace-coil@row-5=done      a remedy
      swap-coil@row-5=row-6        a swap with the neighbour's

    Example:
      rowfault plan mounted-12 response=PPPPFPPPPPPP oil=54C engine=on --no gauge
    """
    from diagnose.faces.planning import shown_plan
    from diagnose.faces.ranking import required_case

    built, case = required_case(machine, arguments, file, log)
    form = "json" if as_json else "dot" if as_dot else "text"
    shown_plan(
        built,
        case,
        goal=goal,
        depth=depth,
        without=frozenset(without),
        alone=alone,
        form=form,
        colour=not no_colour,
    )
