"""``rowfault rank``: from results to causes and the next test."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.faces.commands.options import Command, case_input, colour_option, json_option


@click.command(cls=Command)
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
def rank(
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
    from diagnose.faces.ranking import required_case, shown_ranking

    built, case = required_case(machine, arguments, file, log)
    shown_ranking(built, case, tests, causes, as_json=as_json, colour=not no_colour)
