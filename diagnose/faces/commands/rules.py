"""``rowfault rules``: the rules that are known, and whether rules of your own are sound."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.faces.commands.options import WORDS, Group, colour_option, json_option
from diagnose.faces.commands.suggest import suggest_groups

FOLDER = click.Path(exists=True, file_okay=False, path_type=Path)


@click.group(cls=Group)
def rules() -> None:
    """List and check rules.

    Example:
      rowfault rules list --group context
    """


@rules.command("list")
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
    from diagnose.faces.rulebase import list_all

    list_all(group, as_json=as_json, colour=not no_colour)


@rules.command("check")
@click.argument("folder", required=False, type=FOLDER)
def check_rules(folder: Path | None) -> None:
    """Check rules of your own.

    Everything that is wrong with the rules in FOLDER, or with those in use, is reported at
    once, with file and line; so is a rule that does not fire in its own cases, or does in a
    near miss.

    Example:
      rowfault rules check my-rules
    """
    from diagnose.faces.rulebase import check

    check(folder)
