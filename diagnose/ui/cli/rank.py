"""``rowfault rank``: from results to causes and the next test."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from diagnose.api import rank
from diagnose.errors import FileProblems, Problem
from diagnose.formats.strictyaml import read_file
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.machine.planter import Machine
from diagnose.observations.case import Case
from diagnose.observations.typed import read_typed
from diagnose.reports.ranking import build_ranking_report
from diagnose.ui.cli.options import case_input, colour_option, json_option
from diagnose.ui.lazy import Command
from diagnose.ui.streams import started
from diagnose.ui.terminal.output import console, print_json
from diagnose.ui.terminal.ranking import print_ranking


@click.command("rank", cls=Command)
@case_input
@json_option
@colour_option
@click.option(
    "--next",
    "tests",
    type=click.IntRange(0, 50),
    metavar="N",
    default=3,
    show_default=True,
    help="How many next tests to show.",
)
@click.option(
    "--causes",
    type=click.IntRange(1),
    metavar="N",
    default=5,
    show_default=True,
    help="How many causes to show.",
)
def rank_command(
    *,
    machine: str | None,
    arguments: tuple[str, ...],
    file: Path | None,
    log: Path | None,
    as_json: bool,
    no_colour: bool,
    tests: int,
    causes: int,
) -> None:
    """Rank causes and say what to test next.

    MACHINE is the id of a layout or a path to a layout file; a case file may name it instead.
    ARGUMENTS are results, circumstances and readings, in the order in which things happened:

      bleed=PPPPFP               per row P pass, F fail, ? unsure, . not run
      response=fail:5,pass:rest  the same in words
      oil=54C engine=on          of the run before; of all when typed first
      first-hookup=yes           of the machine's past
      coil-resistance@row-5=OL   a reading at a part

    Example:
      rowfault rank mounted-12 response=PPPPFPPPPPPP oil=54C engine=on
    """
    built, case = required_case(machine, arguments, file, log)
    shown_ranking(built, case, tests, causes, as_json=as_json, colour=not no_colour)


def told_case(
    machine: str | None, arguments: Sequence[str], file: Path | None, log: Path | None
) -> tuple[Machine, Case]:
    """The machine and its story: the case file first, then the log, then what was typed.

    Raises `UnknownName` and `FileProblems`. One of ``machine`` and ``file`` must be given.

    >>> machine, case = told_case("mounted-6", ["bleed=PPPPPF"], None, None)
    >>> machine.rows, [(run.check, run.pattern) for run in case.runs]
    (6, [('bleed', 'PPPPPF')])
    """
    started()
    knowledge = load_knowledge()
    built = load_machine(machine, knowledge) if machine else None
    case = None
    if file:
        built, case = _from_file(file, knowledge, built)
    if built is None:
        raise ValueError("expected a machine or a case file, got neither")
    case = case or Case(built.id)
    if log:
        from diagnose.observations.log import read_log

        logged = read_log(log, built, knowledge)
        case = Case.of(built.id, [*case.events(), *logged.events()])
    return built, read_typed(built, arguments, knowledge, case)


def _from_file(file: Path, knowledge: Knowledge, machine: Machine | None) -> tuple[Machine, Case]:
    """What a case file tells, or a story that was exported from a casebook."""
    # What reads files of cases is slow to import, and not needed for what is typed.
    from diagnose.observations.archive import is_archive, read_story
    from diagnose.observations.casefile import read_case
    from diagnose.observations.state import replay
    from diagnose.projection import Projection

    document = read_file(file)
    if not is_archive(document):
        return read_case(document, knowledge, machine)
    view = Projection(replay(read_story(document, knowledge)), knowledge)
    if machine is not None and machine.id != view.machine.id:
        where, remedy = document.place(), "leave the machine out of the command"
        got = view.machine.id
        raise FileProblems([Problem(where, f"a story of {machine.id}", got, remedy)])
    return view.machine, view.state.case


def required_case(
    machine: str | None, arguments: Sequence[str], file: Path | None, log: Path | None
) -> tuple[Machine, Case]:
    """The same from a command line, which must name a machine and tell something.

    Raises `click.UsageError` when it does not. With a case file, what looks like the machine may
    be the first argument.

    >>> required_case("mounted-6", [], None, None)
    Traceback (most recent call last):
    click.exceptions.UsageError: Nothing to go on: give results, for example response=PPPPPF.
    """
    if machine and "=" in machine and file:
        arguments, machine = (machine, *arguments), None
    if not machine and not file:
        raise click.UsageError("Missing argument 'MACHINE', or --file with a case that names it.")
    built, case = told_case(machine, arguments, file, log)
    if not case.runs and not case.readings:
        results = f"response={'P' * (built.rows - 1)}F"
        raise click.UsageError(f"Nothing to go on: give results, for example {results}.")
    return built, case


def shown_ranking(
    machine: Machine, case: Case, tests: int, causes: int, *, as_json: bool, colour: bool
) -> None:
    """Rank the case and print the report."""
    report = build_ranking_report(rank(machine, case), tests)
    if as_json:
        print_json(report)
    else:
        print_ranking(report, console(colour), causes, tests)
