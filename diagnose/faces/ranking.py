"""What ``rowfault rank`` does: gather the case, have it ranked, show the report."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from diagnose.cases.case import Case
from diagnose.cases.joining import joined
from diagnose.cases.typed import read_typed
from diagnose.errors import FileProblems, Problem
from diagnose.faces.output import console, print_json
from diagnose.faces.streams import started
from diagnose.faces.terminal import print_ranking
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.strictyaml import read_file
from diagnose.machine.graph import Machine, load_machine
from diagnose.report import rank, ranking_report


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
        from diagnose.cases.log import read_log  # noqa: PLC0415

        case = joined(case, read_log(log, built, knowledge))
    return built, read_typed(built, arguments, knowledge, case)


def _from_file(file: Path, knowledge: Knowledge, machine: Machine | None) -> tuple[Machine, Case]:
    """What a case file tells, or a story that was exported from a casebook."""
    # What reads files of cases is slow to import, and not needed for what is typed.
    from diagnose.cases.casefile import case_of  # noqa: PLC0415
    from diagnose.story.archive import is_archive, read_story  # noqa: PLC0415
    from diagnose.story.replay import replay  # noqa: PLC0415
    from diagnose.story.view import View  # noqa: PLC0415

    document = read_file(file)
    if not is_archive(document):
        return case_of(document, knowledge, machine)
    view = View(replay(read_story(document, knowledge)), knowledge)
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
    report = ranking_report(rank(machine, case), tests)
    if as_json:
        print_json(report)
    else:
        print_ranking(report, console(colour), causes, tests)
