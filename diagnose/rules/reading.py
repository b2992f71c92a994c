"""The rule base read from its files, every problem reported at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise
from pathlib import Path

from diagnose.errors import FileProblems, Place, Problem, near_matches
from diagnose.formats.model import in_order
from diagnose.knowledge.base import load_knowledge
from diagnose.paths import own, shipped
from diagnose.rules.check import problems_of
from diagnose.rules.finding import FactValue
from diagnose.rules.joins import CASE, Joins
from diagnose.rules.loading import Rules, rule_paths, rules_of
from diagnose.rules.names import Names
from diagnose.rules.rulefile import Conclusion, Condition, Rule, RuleFile, read_rule
from diagnose.rules.satisfiable import passes
from diagnose.rules.vocabulary import FINDINGS, RULE_GROUPS
from diagnose.tolerances import MOST_JOINED_TOGETHER

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


def problems_between(files: Sequence[RuleFile]) -> list[Problem]:
    """Everything that is wrong with the rules as a set.

    >>> problems_between(())
    []
    """
    return [
        *_twins(files),
        *_circles(files),
        *_waiting_in_vain(files),
        *_too_many_ways(files),
    ]


def _twins(files: Sequence[RuleFile]) -> Iterator[Problem]:
    first: dict[str, RuleFile] = {}
    for file in files:
        earlier = first.setdefault(file.rule.id, file)
        if earlier is not file:
            remedy = f"the first is {earlier.document.place(('id',))}; give one another id"
            where = file.document.place(("id",))
            yield Problem(where, "each rule id once", f"a second {file.rule.id}", remedy)


def _circles(files: Sequence[RuleFile]) -> Iterator[Problem]:
    """Kinds of findings that wait for each other, rule by rule."""
    waits: dict[str, set[str]] = {name: set() for name in FINDINGS}
    for file in files:
        needs = {one.kind for one in file.rule.when if one.kind in FINDINGS}
        for conclusion in file.rule.then:
            waits.setdefault(conclusion.finding, set()).update(needs)
    try:
        TopologicalSorter(waits).prepare()
    except CycleError as error:
        circle: list[str] = error.args[1]
        links = set(pairwise(circle))
        for file in files:
            if any(_links(file.rule, needed, made) for needed, made in links):
                where, got = file.document.place(("when",)), " → ".join(circle)
                yield Problem(where, "findings that do not wait in a circle", got)


def _links(rule: Rule, needed: str, made: str) -> bool:
    return any(one.kind == needed for one in rule.when) and any(
        one.finding == made for one in rule.then
    )


def _waiting_in_vain(files: Sequence[RuleFile]) -> Iterator[Problem]:
    """Conditions on findings that no rule of an earlier group makes."""
    for file in files:
        now = RULE_GROUPS.index(file.rule.group)
        earlier = [other.rule for other in files if RULE_GROUPS.index(other.rule.group) < now]
        for number, condition in enumerate(file.rule.when):
            if condition.kind in FINDINGS and not _made(condition, earlier):
                where = file.document.place(("when", number))
                expected = "a finding that some rule of an earlier group makes"
                yield Problem(where, expected, _wanted(condition), _nearest(condition, earlier))


def _made(condition: Condition, rules: Sequence[Rule]) -> bool:
    return any(
        conclusion.finding == condition.kind and _fits(condition, rule, conclusion)
        for rule in rules
        for conclusion in rule.then
    )


def _fits(condition: Condition, rule: Rule, conclusion: Conclusion) -> bool:
    kind = FINDINGS[condition.kind]
    for name, test in condition.tests():
        default = kind.fields[name].default if name in kind.fields else None
        made: FactValue | None = conclusion.values.get(name, default)
        made = rule.id if name == "rule" else made
        open_end = made is None or (isinstance(made, str) and "{" in made)
        if not open_end and test.constants and made is not None and not passes(made, [test]):
            return False
    return True


def _wanted(condition: Condition) -> str:
    tests = ", ".join(
        f"{name} {test.operator} {' or '.join(map(str, test.constants))}"
        for name, test in condition.tests()
        if test.constants
    )
    return f"{condition.kind} ({tests})" if tests else condition.kind


def _nearest(condition: Condition, rules: Sequence[Rule]) -> str:
    ids = [rule.id for rule in rules if any(one.finding == condition.kind for one in rule.then)]
    names = [str(c) for name, test in condition.tests() if name == "rule" for c in test.constants]
    near = [match for name in names if name not in ids for match in near_matches(name, ids)]
    return f"did you mean {' or '.join(near)}?" if near else "the rule never fires"


def _too_many_ways(files: Sequence[RuleFile]) -> Iterator[Problem]:
    """Rules whose facts can come together so often that nobody would wait for it."""
    joins, together = Joins([file.rule for file in files]), 0
    for file in files:
        reason = joins.too_many(file.rule)
        if reason is not None:
            yield reason.at(file.document)
            continue
        before, together = together, together + max(joins.sizes(file.rule), default=0)
        if before <= MOST_JOINED_TOGETHER < together:
            expected = f"rules that fire in at most {MOST_JOINED_TOGETHER:,} ways together {CASE}"
            got, remedy = f"{together:,} with this one", "match fewer facts, or take rules out"
            yield Problem(file.document.place(("when",)), expected, got, remedy)
