"""What ``rowfault plan`` does: make the plan, with its progress shown, and print it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import cast

from diagnose.cases.case import Case
from diagnose.faces.dot import dot_lines
from diagnose.faces.output import console, print_json, print_lines
from diagnose.faces.plantree import print_plan
from diagnose.faces.streams import write_as_is
from diagnose.machine.graph import Machine
from diagnose.planreport import plan, plan_report
from diagnose.retest.plan import Goal
from diagnose.retest.scene import Means


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
    report = plan_report(made)
    _progress_done()
    if form == "json":
        print_json(report)
    elif form == "dot":
        print_lines(dot_lines(report))
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
