"""Read rule files, checked alone and beside the others."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from diagnose.errors import FileProblems, Place, Problem
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.model import in_order
from diagnose.knowledge.places import own, shipped
from diagnose.reasoning.loading import Rules, rule_paths, rules_of
from diagnose.reasoning.names import Names
from diagnose.reasoning.rulebase import problems_between
from diagnose.reasoning.rulecheck import problems_of
from diagnose.reasoning.rulefile import RuleFile, read_rule

__all__ = ["Names", "read_beside", "read_rules"]


def read_beside(folder: Path | None) -> tuple[tuple[RuleFile, ...], Rules]:
    """The rules of a folder, and all rules that would be in use with it; None for those in use.

    Raises `FileProblems` with everything that is wrong, or when the folder holds no rule.

    >>> files, rules = read_beside(None)
    >>> len(files) == len(rules.rules)
    True
    """
    in_use = [path for root in (shipped(), own()) for path in rule_paths(root.rules)]
    mine = rule_paths(folder) if folder else in_use
    if not mine:
        expected = "a rule, in a file whose name ends in .yaml"
        raise FileProblems([Problem(Place(str(folder)), expected, "none", "name another folder")])
    added = {path.resolve() for path in mine}
    beside = [path for path in in_use if path.resolve() not in added]
    files = read_rules([*beside, *mine], Names(load_knowledge()))
    return files[len(beside) :], rules_of(files)


def read_rules(
    paths: Sequence[Path], names: Names | None = None, trusted: frozenset[Path] = frozenset()
) -> tuple[RuleFile, ...]:
    """Rules in the order of their files. Raises `FileProblems` with all that is wrong.

    What ``trusted`` files name is not looked up: ``rules check`` and the tests do that for the
    shipped ones, and it would take as long as reading them.

    >>> path = shipped().rules / "circumstances" / "oil-cold.yaml"
    >>> [file.rule.id for file in read_rules([path])]
    ['oil-cold']
    """
    files: list[RuleFile] = []
    problems: list[Problem] = []
    for path in paths:
        try:
            file, found = read_rule(path)
        except FileProblems as error:
            file, found = None, list(error.problems)
        problems += found
        if file:
            files.append(file)
            problems += problems_of(file, None if path in trusted else names)
    problems += problems_between(files)
    if problems:
        raise FileProblems(in_order(list(dict.fromkeys(problems))))
    return tuple(files)
