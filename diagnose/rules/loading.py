"""The rule base that is in use: every file of the rule folders, checked before it counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from functools import cache, cached_property
from pathlib import Path

from pydantic import ValidationError as PydanticError

from diagnose.formats.cache import Memory
from diagnose.knowledge.base import load_knowledge
from diagnose.paths import Folders, own, shipped, yaml_files_below
from diagnose.record import record
from diagnose.rules.engine import Stratum
from diagnose.rules.rulefile import Rule, RuleFile
from diagnose.rules.vocabulary import RULE_GROUPS


@record
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
        """The groups in the order in which they run, without what is about proposed acts.

        >>> [stratum.rules[0].group for stratum in load_rules().strata]
        ['circumstances', 'context', 'measurements', 'patterns', 'contradictions', 'advice']
        >>> load_rules().by_id["swap-before-buying"] in load_rules().strata[-1].rules
        False
        """
        alone = [rule for rule in self.rules if not rule.about_acts]
        return tuple(Stratum([r for r in alone if r.group == group]) for group in RULE_GROUPS)

    @cached_property
    def about_acts(self) -> Stratum:
        """The rules about proposed acts.

        >>> [rule.id for rule in load_rules().about_acts.rules if rule.id.startswith("hot")]
        ['hot-oil', 'hot-oil-not-noted']
        """
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
    memory = Memory("rules", ours)
    known = None if theirs else memory.recall()
    if known is not None:
        with suppress(PydanticError):
            return Rules(_in_order(Rule.model_validate(data) for data in known))
    # What checks rules is slow to import, and rules that were found sound once are remembered.
    from diagnose.rules.reading import Names, read_rules  # noqa: PLC0415

    names = Names(load_knowledge(added.root)) if theirs else None
    files = read_rules([*ours, *theirs], names, frozenset(ours))
    if not theirs:
        memory.remember([file.document.data for file in files])
    return rules_of(files)


def rules_of(files: Sequence[RuleFile]) -> Rules:
    """The rules of files that were read, group by group and by id.

    >>> rules_of(()).rules
    ()
    """
    return Rules(_in_order(file.rule for file in files))


def _in_order(rules: Iterable[Rule]) -> tuple[Rule, ...]:
    return tuple(sorted(rules, key=lambda rule: (RULE_GROUPS.index(rule.group), rule.id)))


def rule_paths(folder: Path) -> list[Path]:
    """Every rule file below a folder, in order of path; none when there is no such folder.

    Raises `FileProblems` when there are too many.

    >>> rule_paths(Path("no such folder"))
    []
    """
    return yaml_files_below(folder)
