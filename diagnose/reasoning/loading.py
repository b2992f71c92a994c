"""Load the rule base: every file of the rule folders, checked alone and beside the others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

from diagnose.errors import FileProblems, Problem
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.circumstances import Circumstance
from diagnose.knowledge.model import in_order
from diagnose.knowledge.places import Folders, own, shipped
from diagnose.reasoning.engine import Stratum
from diagnose.reasoning.rulebase import problems_between
from diagnose.reasoning.rulecheck import Known, problems_of
from diagnose.reasoning.rulefile import Rule, RuleFile, read_rule
from diagnose.reasoning.vocabulary import GROUPS


@dataclass(frozen=True)
class Rules:
    """A rule base that was checked, compiled group by group when first needed."""

    rules: tuple[Rule, ...]

    @cached_property
    def by_id(self) -> Mapping[str, Rule]:
        """Every rule by its id."""
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
    files = [file for root in (shipped(), added) for file in rule_paths(root.rules)]
    loaded = read_rules(files, known_ids(load_knowledge(added.root)))
    rules = (file.rule for file in loaded)
    return Rules(tuple(sorted(rules, key=lambda rule: (GROUPS.index(rule.group), rule.id))))


def rule_paths(folder: Path) -> list[Path]:
    """Every rule file below a folder, in order of path; none when there is no such folder.

    >>> rule_paths(Path("no such folder"))
    []
    """
    return sorted(path for path in folder.rglob("*") if path.suffix in (".yaml", ".yml"))


def read_rules(paths: Sequence[Path], known: Known | None = None) -> tuple[RuleFile, ...]:
    """Rules in the order of their files. Raises `FileProblems` with all that is wrong."""
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
            problems += problems_of(file, known)
    problems += problems_between(files)
    if problems:
        raise FileProblems(in_order(list(dict.fromkeys(problems))))
    return tuple(files)


def known_ids(knowledge: Knowledge) -> Mapping[str, frozenset[str]]:
    """The ids that exist, by field type: what a rule may name as a constant.

    >>> sorted(known_ids(load_knowledge())["check"])
    ['bleed', 'response']
    """
    circumstances = knowledge.circumstances.values()
    kinds = knowledge.parts.values()
    measurements = [one for kind in kinds for one in kind.measurements]
    return {
        "check": frozenset(knowledge.checks),
        "circumstance": frozenset(knowledge.circumstances),
        "state": frozenset(name for one in circumstances for name in _answers(one)),
        "part-kind": frozenset(knowledge.parts),
        "mode": frozenset(mode.id for kind in kinds for mode in kind.modes),
        "measurement": frozenset(one.id for one in measurements),
        "result": frozenset(r.id for one in measurements for r in one.results) | {"good"},
    }


def _answers(circumstance: Circumstance) -> Iterator[str]:
    yield from circumstance.choices
    yield from (state.id for state in circumstance.states)
