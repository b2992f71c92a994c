"""What the ``rowfault rules`` commands do."""

from __future__ import annotations

from pathlib import Path

from rich.table import Table
from rich.text import Text

from diagnose.errors import FileProblems, Place, UnknownName
from diagnose.faces.output import console, print_json, print_lines, print_tidily
from diagnose.faces.words import blanked, counted
from diagnose.reasoning.loading import load_rules
from diagnose.reasoning.reading import read_beside
from diagnose.reasoning.rulecases import case_problems
from diagnose.reasoning.vocabulary import GROUPS


def list_all(group: str | None, *, as_json: bool, colour: bool) -> None:
    """Print the rules, of one group or of all. Raises `UnknownName` for the group."""
    if group is not None and group not in GROUPS:
        raise UnknownName(Place("--group"), "a group of rules", group, GROUPS)
    rules = [rule for rule in load_rules().rules if group in (None, rule.group)]
    if as_json:
        found = [{"id": rule.id, "group": rule.group, "says": rule.says} for rule in rules]
        print_json({"schema": "rowfault/rules/1", "rules": found})
        return
    table = Table.grid(padding=(0, 2))
    for rule in rules:
        table.add_row(Text(rule.id, style="title"), Text(f"{blanked(rule.says)} ({rule.group})"))
    print_tidily(console(colour), table)


def check(folder: Path | None) -> None:
    """Say that the rules of a folder, or those in use, are sound and that their cases agree.

    Raises `FileProblems`.
    """
    files, rules = read_beside(folder)
    problems = case_problems(files, rules)
    if problems:
        raise FileProblems(problems)
    cases = sum(len(file.rule.fires) + len(file.rule.near_miss) for file in files)
    where = "the rules in use" if folder is None else str(folder)
    print_lines([f"{where}: {counted(len(files), 'rule')}, all sound; {cases} cases agree."])
