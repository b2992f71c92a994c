"""``rowfault rank``: from results to causes and the next test."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from diagnose.faces.options import READABLE, colour_option, json_option
from diagnose.faces.suggest import suggest_arguments, suggest_machines

if TYPE_CHECKING:
    from diagnose.cases.case import Case
    from diagnose.knowledge.base import Knowledge
    from diagnose.machine.graph import Machine


@click.command()
@click.argument("machine", required=False, shell_complete=suggest_machines)
@click.argument("arguments", nargs=-1, shell_complete=suggest_arguments)
@click.option("--file", type=READABLE, help="A case file, YAML or JSON, to start from.")
@click.option("--log", type=READABLE, help="Logged results: CSV with run,check,row,result.")
@json_option
@colour_option
@click.option(
    "--next", "tests", type=click.IntRange(0, 50), default=3, help="How many next tests to show."
)
@click.option("--causes", type=click.IntRange(1), default=5, help="How many causes to show.")
def rank(
    machine: str | None,
    arguments: tuple[str, ...],
    file: Path | None,
    log: Path | None,
    as_json: bool,
    no_colour: bool,
    tests: int,
    causes: int,
) -> None:
    """Rank what may be wrong with MACHINE, and say what to test next.

    MACHINE is the id of a layout or a path to a layout file; a case file may name it instead.
    ARGUMENTS are results, circumstances and readings, in the order in which things happened:

    \b
      bleed=PPPPFP              one letter per row: P pass, F fail, ? unsure, . not run
      response=fail:5,pass:rest the same in words
      oil=54C  engine=on        of the run before it; of every run when typed first
      first-hookup=yes          of the machine's history
      coil-resistance@row-5=0ohm   a reading at a part

    \b
    Example:
      rowfault rank mounted-12 response=PPPPFPPPPPPP oil=54C engine=on
    """
    from diagnose.knowledge.base import load_knowledge

    knowledge = load_knowledge()
    built, case = _told(machine, arguments, file, log, knowledge)
    _refuse_nothing(case)
    from diagnose.ranking.report import ranking_report

    report = ranking_report(built, case, knowledge, tests=tests)
    if as_json:
        from diagnose.faces.output import print_json

        print_json(report)
    else:
        from diagnose.faces.output import console
        from diagnose.faces.terminal import print_ranking

        print_ranking(report, console(not no_colour), causes, tests)


def _told(
    name: str | None,
    arguments: tuple[str, ...],
    file: Path | None,
    log: Path | None,
    knowledge: Knowledge,
) -> tuple[Machine, Case]:
    """The machine and the case: the file first, then the log, then what was typed."""
    from diagnose.cases.case import Case
    from diagnose.cases.typed import read_typed
    from diagnose.machine.graph import load_machine

    if name and "=" in name and file:
        arguments, name = (name, *arguments), None
    if not name and not file:
        raise click.UsageError("Missing argument 'MACHINE' (or --file with a case that names it).")
    machine = load_machine(name, knowledge) if name else None
    case = None
    if file:
        from diagnose.cases.casefile import read_case_file

        machine, case = read_case_file(file, knowledge, machine)
    assert machine is not None
    case = case or Case(machine.id)
    if log:
        from diagnose.cases.joining import joined
        from diagnose.cases.log import read_log

        case = joined(case, read_log(log, machine, knowledge))
    return machine, read_typed(machine, arguments, knowledge, case)


def _refuse_nothing(case: Case) -> None:
    if not case.runs and not case.readings:
        raise click.UsageError("Nothing to go on: give results, for example response=PPPPPF.")
