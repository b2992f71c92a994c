"""``rowfault report`` and ``ready``: one case, the sheet before the checks, the record after."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Generic, Literal, TypeVar

import click
from rich.console import Console, Group, RenderableType
from rich.text import Text

from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.planner.readiness import read_readiness
from diagnose.record import record
from diagnose.reports.case import build_case_report, build_season_report
from diagnose.reports.forms.base import Report
from diagnose.reports.forms.case import CaseReport, SeasonReport
from diagnose.reports.forms.listings import ItemReport, ReadinessReport
from diagnose.reports.listings import build_readiness_report
from diagnose.ui.cli.completion import suggest_arguments, suggest_cases, suggest_first
from diagnose.ui.cli.options import (
    ARGUMENT,
    NAME_OR_PATH,
    force_option,
    format_option,
    json_option,
    who_option,
)
from diagnose.ui.cli.who import story_of
from diagnose.ui.files import write_whole
from diagnose.ui.html.page import readiness_page, report_page, season_page
from diagnose.ui.lazy import Command
from diagnose.ui.markdown import readiness_markdown, report_markdown, season_markdown
from diagnose.ui.terminal.output import console, json_text, print_json, print_tidily
from diagnose.ui.terminal.ranking import bullets
from diagnose.ui.words import minutes_text, moment, sentence


@click.command("ready", cls=Command)
@click.argument("machine", required=False, type=NAME_OR_PATH, shell_complete=suggest_first)
@click.argument("circumstances", nargs=-1, type=ARGUMENT, shell_complete=suggest_arguments)
@click.option(
    "--case",
    metavar="CASE",
    type=NAME_OR_PATH,
    help="The season record of this case instead; last is yours.",
)
@click.option(
    "-o",
    "--output",
    type=NAME_OR_PATH,
    metavar="FILE",
    help="Write a sheet: FILE.html, FILE.md or FILE.json; - prints.",
)
@format_option
@force_option
@json_option
@who_option
def ready_command(
    *,
    machine: str | None,
    circumstances: tuple[str, ...],
    case: str | None,
    output: str | None,
    form: str | None,
    force: bool,
    as_json: bool,
    who: str | None,
) -> None:
    """List what to see to before the checks.

    MACHINE is the id of a layout or a path to a layout file. CIRCUMSTANCES are what is known
    already, such as oil=54C, engine=on or first-hookup=yes; what is good needs no more minutes.

    With --case and a machine that is proven good, the season record: its runs, what was repaired,
    what proves it, and a line for the signature.

    Example:
      rowfault ready mounted-12 oil=15C first-hookup=yes
    """
    if output and as_json:
        raise click.UsageError(f"Give -o {output} or --json, not both.")
    if case:
        if machine:
            raise click.UsageError(
                f"Give {machine} or --case {case}, not both: the case names its machine."
            )
        shown_season(case, output, form, force, as_json, who)
    elif machine:
        shown_readiness(machine, circumstances, output, form, force, as_json)
    else:
        raise click.UsageError("Missing argument 'MACHINE', or --case with a case.")


@click.command("report", cls=Command)
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
@who_option
def report_command(
    *, case: str, output: str, form: str | None, force: bool, who: str | None
) -> None:
    """Write the report of a case.

    CASE is the id of a case in the casebook, the beginning of one, the path of a case that was
    exported, or the word last: the case that you worked last. The page needs nothing but itself
    and prints on A4 and Letter.

    Example:
      rowfault report last -o report.html
    """
    written_report(case, output, form, force, who)


_Form = Literal["html", "md", "json"]
_Shown = TypeVar("_Shown", bound=Report)

ENDINGS: Mapping[str, _Form] = {
    ".html": "html",
    ".htm": "html",
    ".md": "md",
    ".markdown": "md",
    ".json": "json",
}
STDOUT = "-"


@record
class Writers(Generic[_Shown]):
    """What writes a report in each form."""

    html: Callable[[_Shown], str]
    md: Callable[[_Shown], str]

    def text(self, report: _Shown, form: _Form) -> str:
        """The report in one of its forms."""
        if form == "json":
            return json_text(report)
        return self.html(report) if form == "html" else self.md(report)


REPORT: Writers[CaseReport] = Writers(report_page, report_markdown)
READINESS: Writers[ReadinessReport] = Writers(readiness_page, readiness_markdown)
SEASON: Writers[SeasonReport] = Writers(season_page, season_markdown)


def form_of(output: str, form: str | None) -> _Form:
    """The form of what is written, by the file's ending unless it is said.

    Raises `click.UsageError` when neither tells.

    >>> form_of("mine.html", None), form_of("-", "md")
    ('html', 'md')
    """
    known: Mapping[str, _Form] = {name: name for name in ENDINGS.values()}
    found = known.get(form) if form else ENDINGS.get(Path(output).suffix.lower())
    if found is None:
        endings = ", ".join(ENDINGS)
        raise click.UsageError(
            "Standard output has no ending: say --format html, md or json."
            if output == STDOUT
            else f"Expected a file that ends in one of {endings}, got {output}; or say --format."
        )
    return found


def written_report(
    case: str, output: str, form: str | None, force: bool, who: str | None = None
) -> None:
    """Write the report of a case."""
    chosen = form_of(output, form)
    knowledge = load_knowledge()
    story = story_of(case, knowledge, who)
    _put(REPORT.text(build_case_report(story, knowledge), chosen), output, force)


def shown_readiness(
    machine: str,
    words: tuple[str, ...],
    output: str | None,
    form: str | None,
    force: bool,
    as_json: bool,
) -> None:
    """Show or write what to see to before the checks."""
    chosen = form_of(output, form) if output else None
    knowledge = load_knowledge()
    ready = read_readiness(load_machine(machine, knowledge), words, knowledge)
    sheet = build_readiness_report(ready)
    _show(sheet, READINESS, print_readiness, output, chosen, force, as_json)


def shown_season(
    case: str,
    output: str | None,
    form: str | None,
    force: bool,
    as_json: bool,
    who: str | None = None,
) -> None:
    """Show or write the season record of a machine that is proven good."""
    chosen = form_of(output, form) if output else None
    knowledge = load_knowledge()
    season = build_season_report(story_of(case, knowledge, who), knowledge)
    _show(season, SEASON, print_season, output, chosen, force, as_json)


def _show(
    report: _Shown,
    writers: Writers[_Shown],
    printer: Callable[[_Shown, Console], None],
    output: str | None,
    form: _Form | None,
    force: bool,
    as_json: bool,
) -> None:
    if output and form:
        _put(writers.text(report, form), output, force)
    elif as_json:
        print_json(report)
    else:
        printer(report, console())


def _put(text: str, output: str, force: bool) -> None:
    """Print, or write and say so."""
    if output == STDOUT:
        sys.stdout.write(text)
        return
    write_whole(Path(output), text, force)
    click.echo(f"written: {output}", err=True)


def print_readiness(sheet: ReadinessReport, console: Console) -> None:
    """Print a sheet in the form ``rowfault/readiness/1``."""
    head = f"{sheet.machine}, {sheet.rows} rows: before the checks"
    about = f"About {minutes_text(sheet.minutes)} in all."
    parts: list[RenderableType] = [Text(head, style="title"), Text(about)]
    for group in sheet.groups:
        parts += [Text(), Text(sentence(group.title).rstrip("."), style="title")]
        if group.needs:
            parts += bullets([f"wants {', '.join(group.needs)}"])
        parts += bullets(map(_item_line, group.items))
        parts += bullets((f"take care: {each}" for each in group.cautions), "caution")
    questions = (f"{q.question} ({q.id}={' or '.join(q.choices)})" for q in sheet.questions)
    for title, lines in (
        ("Likelier after what was said", sheet.likelier),
        ("Worth knowing", questions),
        ("Take care", sheet.cautions),
    ):
        shown = list(bullets(lines))
        parts += [Text(), Text(title, style="title"), *shown] if shown else []
    print_tidily(console, Group(*parts))


def _item_line(item: ItemReport) -> str:
    """One thing to see to, on one line with its cautions."""
    does = f" {sentence(item.does)}" if item.does else ""
    minutes = f" About {minutes_text(item.minutes)}." if item.minutes else ""
    cautions = "".join(f" Take care: {sentence(each)}" for each in item.cautions)
    about = f"[{item.standing}] {item.about}: {sentence(item.says)}"
    return f"{about}{does}{minutes}{cautions}"


def print_season(season: SeasonReport, console: Console) -> None:
    """Print a record in the form ``rowfault/season/1``."""
    machine, runs = season.machine, season.runs
    told = (
        f"run {run.run}, {run.check}: {run.pattern}"
        + (f" ({'; '.join(run.circumstances)})" if run.circumstances else "")
        + (f". This run is {run.standing}" if run.standing else "")
        for run in runs
    )
    work = season.work or ["nothing was repaired"]
    parts: list[RenderableType] = [
        Text(f"{machine.id}, {machine.rows} rows: season record", style="title"),
        Text(f"Case {season.case}, proven {moment(season.proven_at)}."),
        Text(sentence(season.proof.says)),
    ]
    for title, lines in (
        ("Runs", told),
        ("What was repaired", work),
        ("Take care", season.cautions),
    ):
        parts += [Text(), Text(title, style="title"), *bullets(lines)]
    parts += [Text(), Text("Name and signature: ____________________  Date: ____________")]
    print_tidily(console, Group(*parts))
