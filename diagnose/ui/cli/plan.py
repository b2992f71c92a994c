"""``rowfault plan``: what to do, what each outcome would mean, and what to do then."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import cast

import click

from diagnose.api import plan
from diagnose.decision.lookahead import Goal
from diagnose.machine.planter import Machine
from diagnose.observations.case import Case
from diagnose.planner.problem import Means
from diagnose.reports.plan import build_plan_report
from diagnose.ui.cli.options import case_input, colour_option, json_option
from diagnose.ui.cli.rank import required_case
from diagnose.ui.lazy import Command
from diagnose.ui.streams import write_as_is
from diagnose.ui.terminal.output import console, print_json, print_lines
from diagnose.ui.terminal.plan import dot_lines, print_plan


@click.command("plan", cls=Command)
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
def plan_command(
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


def shown_plan(
    machine: Machine,
    case: Case,
    *,
    goal: str,
    depth: int,
    without: frozenset[str],
    alone: bool,
    form: str,
    colour: bool,
) -> None:
    """Plan and print; ``form`` is ``text``, ``json`` or ``dot``."""
    means = Means(without, alone)
    made = plan(machine, case, cast(Goal, goal), means, depth, progress=_progress())
    report = build_plan_report(made)
    _progress_done()
    if form == "json":
        print_json(report)
    elif form == "dot":
        print_lines(dot_lines(report.machine, report.tree))
    else:
        print_plan(report, console(colour))


def _progress() -> Callable[[int], None] | None:
    """Count the steps on a terminal's error stream; say nothing into a file or pipe."""
    if not sys.stderr.isatty():
        return None
    return lambda steps: _over_the_line(f"\rplanning: {steps} steps")


def _progress_done() -> None:
    if sys.stderr.isatty():
        _over_the_line("\r" + " " * 40 + "\r")


def _over_the_line(text: str) -> None:
    write_as_is(sys.stderr, text)
    sys.stderr.flush()
