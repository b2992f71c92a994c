"""``rowfault rules``: the rules that are known, and whether rules of your own are sound."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.faces.options import json_option


@click.group()
def rules() -> None:
    """List rules, check rules of your own.

    \b
    Example:
      rowfault rules list --group context
    """


@rules.command("list")
@click.option("--group", help="Only the rules of one group, such as context or patterns.")
@json_option
def list_rules(group: str | None, as_json: bool) -> None:
    """List the rules with what each says; rowfault explain shows the whole of one.

    \b
    Example:
      rowfault rules list --group context
    """
    from diagnose.errors import Place, UnknownName
    from diagnose.faces.output import console, print_json
    from diagnose.reasoning.loading import load_rules
    from diagnose.reasoning.vocabulary import GROUPS

    if group is not None and group not in GROUPS:
        raise UnknownName(Place("--group"), "a group of rules", group, GROUPS)
    known = [rule for rule in load_rules().rules if group in (None, rule.group)]
    if as_json:
        found = [{"id": rule.id, "group": rule.group, "says": rule.says} for rule in known]
        print_json({"schema": "rowfault/rules/1", "rules": found})
        return
    from rich.table import Table

    table = Table.grid(padding=(0, 2))
    for rule in known:
        table.add_row(rule.group, rule.id, rule.says)
    console().print(table)


@rules.command("check")
@click.argument(
    "folder", required=False, type=click.Path(exists=True, file_okay=False, path_type=Path)
)
def check_rules(folder: Path | None) -> None:
    """Check every rule in FOLDER, or those in use, and report everything that is wrong.

    \b
    Example:
      rowfault rules check my-rules
    """
    from diagnose.knowledge.base import load_knowledge
    from diagnose.reasoning.loading import known_ids, load_rules, read_rules, rule_paths

    if folder is None:
        count, where = len(load_rules().rules), "the rules in use"
    else:
        paths = rule_paths(folder)
        count, where = len(read_rules(paths, known_ids(load_knowledge()))), str(folder)
    click.echo(f"{where}: {count} rules, all sound.")
