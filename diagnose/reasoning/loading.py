"""Load the rule base: every file of the rule folders, checked alone and beside the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

from diagnose.errors import FileProblems, Place, Problem
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.model import in_order
from diagnose.knowledge.places import Folders, own, shipped
from diagnose.reasoning.engine import Stratum
from diagnose.reasoning.names import Names
from diagnose.reasoning.rulebase import problems_between
from diagnose.reasoning.rulecheck import problems_of
from diagnose.reasoning.rulefile import Rule, RuleFile, read_rule
from diagnose.reasoning.vocabulary import GROUPS


@dataclass(frozen=True)
class Rules:
    """A rule base that was checked, compiled group by group when first needed."""

    rules: tuple[Rule, ...]

    @cached_property
    def by_id(self) -> Mapping[str, Rule]:
        """Every rule by its id.

        >>> load_rules().by_id["engine-stopped"].group
        'circumstances'
        """
        return {rule.id: rule for rule in self.rules}

    @cached_property
    def strata(self) -> tuple[Stratum, ...]:
        """The groups in the order in which they run, without what is about proposed acts."""
        alone = [rule for rule in self.rules if not rule.about_acts]
        return tuple(Stratum([r for r in alone if r.group == group]) for group in GROUPS)

    @cached_property
    def about_acts(self) -> Stratum:
        """The rules about proposed acts."""
        return Stratum([rule for rule in self.rules if rule.about_acts])


def load_rules(extra: Path | None = None) -> Rules:
    """The shipped rules, with those of the user's own folder (or ``extra``) added.

    Raises `FileProblems` with everything that is wrong in any of the files.

    >>> load_rules().by_id["oil-cold"].group
    'circumstances'
    """
    return _load(Folders(extra) if extra else own())


@cache
def _load(added: Folders) -> Rules:
    ours, theirs = rule_paths(shipped().rules), rule_paths(added.rules)
    names = Names(load_knowledge(added.root)) if theirs else None
    return rules_of(read_rules([*ours, *theirs], names, frozenset(ours)))


def rules_of(files: Sequence[RuleFile]) -> Rules:
    """The rules of files that were read, group by group and by id.

    >>> rules_of(()).rules
    ()
    """
    rules = (file.rule for file in files)
    return Rules(tuple(sorted(rules, key=lambda rule: (GROUPS.index(rule.group), rule.id))))


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


def rule_paths(folder: Path) -> list[Path]:
    """Every rule file below a folder, in order of path; none when there is no such folder.

    >>> rule_paths(Path("no such folder"))
    []
    """
    return sorted(path for path in folder.rglob("*") if path.suffix in (".yaml", ".yml"))


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
