"""``rowfault report``: one case as a page, as Markdown or as JSON."""

from __future__ import annotations

import click

from diagnose.faces.commands.options import NAME_OR_PATH, Command, force_option, format_option
from diagnose.faces.commands.suggest import suggest_cases


@click.command(cls=Command)
@click.argument("case", type=NAME_OR_PATH, shell_complete=suggest_cases)
@click.option(
    "-o",
    "--output",
    type=NAME_OR_PATH,
    required=True,
    metavar="FILE",
    help="Where to write: FILE.html, FILE.md or FILE.json; - prints.",
)
@format_option
@force_option
def report(*, case: str, output: str, form: str | None, force: bool) -> None:
    """Write the report of a case.

    CASE is the id of a case in the casebook, the beginning of one, the word last, or the path of
    a case that was exported. The page needs nothing but itself and prints on A4 and Letter.

    Example:
      rowfault report last -o report.html
    """
    from diagnose.faces.reporting import written_report

    written_report(case, output, form, force)
