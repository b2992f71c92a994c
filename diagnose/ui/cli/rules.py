"""``rowfault rules``: the rules that are known, and whether rules of your own are sound."""

from __future__ import annotations

from pathlib import Path

import click
from rich.table import Table
from rich.text import Text

from diagnose.errors import FileProblems, Place, UnknownName
from diagnose.reports.listings import build_rules_report
from diagnose.rules.cases import case_problems
from diagnose.rules.loading import load_rules
from diagnose.rules.reading import read_beside
from diagnose.rules.vocabulary import RULE_GROUPS
from diagnose.ui.cli.completion import suggest_groups
from diagnose.ui.cli.options import WORDS, FilePath, colour_option, json_option
from diagnose.ui.lazy import LazyGroup
from diagnose.ui.terminal.output import console, print_json, print_lines, print_tidily
from diagnose.ui.words import blanked, how_many

FOLDER = FilePath(exists=True, file_okay=False, path_type=Path)


@click.group("rules", cls=LazyGroup)
def rules_command() -> None:
    """List and check rules.

    Example:
      rowfault rules list --group context
    """


@rules_command.command("list")
@click.option(
    "--group",
    type=WORDS,
    shell_complete=suggest_groups,
    help="Only the rules of one group, such as context or patterns.",
)
@json_option
@colour_option
def list_rules(group: str | None, as_json: bool, no_colour: bool) -> None:
    """List the rules with what each says.

    The whole of one rule is shown by rowfault explain.

    Example:
      rowfault rules list --group context
    """
    _list_all(group, as_json=as_json, colour=not no_colour)


@rules_command.command("check")
@click.argument("folder", required=False, type=FOLDER)
def check_rules(folder: Path | None) -> None:
    """Check rules of your own.

    Everything that is wrong with the rules in FOLDER, or with those in use, is reported at
    once, with file and line; so is a rule that does not fire in its own cases, or does in a
    near miss.

    Example:
      rowfault rules check my-rules
    """
    _check(folder)


def _list_all(group: str | None, *, as_json: bool, colour: bool) -> None:
    """Print the rules, of one group or of all. Raises `UnknownName` for the group."""
    if group is not None and group not in RULE_GROUPS:
        raise UnknownName(Place("--group"), "a group of rules", group, RULE_GROUPS)
    rules = [rule for rule in load_rules().rules if group in (None, rule.group)]
    if as_json:
        print_json(build_rules_report(rules))
        return
    table = Table.grid(padding=(0, 2))
    for rule in rules:
        table.add_row(Text(rule.id, style="title"), Text(f"{blanked(rule.says)} ({rule.group})"))
    print_tidily(console(colour), table)


def _check(folder: Path | None) -> None:
    """Say that the rules of a folder, or those in use, are sound and that their cases agree.

    Raises `FileProblems`.
    """
    files, rules = read_beside(folder)
    problems = case_problems(files, rules)
    if problems:
        raise FileProblems(problems)
    cases = sum(len(file.rule.fires) + len(file.rule.near_miss) for file in files)
    where = "the rules in use" if folder is None else str(folder)
    print_lines([f"{where}: {how_many(len(files), 'rule')}, all sound; {cases} cases agree."])
