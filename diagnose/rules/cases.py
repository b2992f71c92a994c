"""A rule's own cases: does it fire where it must, and keep silent on its near misses?"""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence

from diagnose.errors import FileProblems, InputError, Place, Problem, RowfaultError
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.typed import read_typed
from diagnose.rules.conclude import advise, conclude
from diagnose.rules.facts import facts_of
from diagnose.rules.finding import RuleFinding
from diagnose.rules.loading import Rules
from diagnose.rules.rulefile import Example, Firing, RuleFile
from diagnose.rules.vocabulary import fact


def findings_of(
    example: Example, rules: Rules, knowledge: Knowledge | None = None
) -> tuple[RuleFinding, ...]:
    """What the rules find in a situation, its proposed act included.

    Raises `InputError` or `FileProblems` when the machine or what is typed cannot be used.

    >>> from diagnose.rules.loading import load_rules
    >>> rules = load_rules()
    >>> [case] = rules.by_id["engine-stopped"].fires[:1]
    >>> "engine-stopped" in {finding.rule for finding in findings_of(case, rules)}
    True
    """
    knowledge = knowledge or load_knowledge()
    machine = load_machine(example.machine, knowledge)
    case = read_typed(machine, shlex.split(example.typed), knowledge)
    known = facts_of(machine, case, knowledge)
    found = conclude(known, rules)
    if example.act is None:
        return found
    return found + advise([fact("act", **example.act)], known, found, rules)


def case_problems(
    files: Sequence[RuleFile], rules: Rules, knowledge: Knowledge | None = None
) -> list[Problem]:
    """Cases of these rules that do not fire, and near misses that do, when ``rules`` are in use.

    >>> from diagnose.paths import shipped
    >>> from diagnose.rules.loading import load_rules
    >>> from diagnose.rules.reading import read_rules
    >>> path = shipped().rules / "circumstances" / "engine-stopped.yaml"
    >>> case_problems(read_rules([path]), load_rules())
    []
    """
    knowledge = knowledge or load_knowledge()
    return [problem for file in files for problem in _problems(file, rules, knowledge)]


def _problems(file: RuleFile, rules: Rules, knowledge: Knowledge) -> Iterator[Problem]:
    for block in ("fires", "near_miss"):
        for number, example in enumerate(getattr(file.rule, block)):
            where = file.document.place((block, number))
            try:
                found = findings_of(example, rules, knowledge)
            except (RowfaultError, ValueError) as error:
                yield from _unusable(error, where)
                continue
            made = [finding for finding in found if finding.rule == file.rule.id]
            if isinstance(example, Firing):
                yield from _not_as_said(example, made, where)
            elif made:
                yield Problem(where, "the rule to keep silent here", repr(made[0].says))


def _not_as_said(example: Firing, made: Sequence[RuleFinding], where: Place) -> Iterator[Problem]:
    """A case in which the rule keeps silent, or says or concludes something else."""
    if not made:
        yield Problem(where, "the rule to fire here", "silence")
        return
    if example.says is not None and all(one.says != example.says for one in made):
        yield Problem(where, f"the rule to say {example.says!r}", repr(made[0].says))
    elif not any(example.values.items() <= one.values.items() for one in made):
        got = " and ".join(f"{one.kind} {dict(one.values)}" for one in made)
        yield Problem(where, f"the rule to conclude {dict(example.values)}", got)


def _unusable(error: Exception, where: Place) -> Iterator[Problem]:
    """What is wrong with a situation, at its line."""
    problems = error.problems if isinstance(error, FileProblems) else ()
    problems = (error.problem,) if isinstance(error, InputError) else problems
    for one in problems:
        yield Problem(where, one.expected, f"{one.got} ({one.where})", one.remedy)
    if not problems:
        yield Problem(where, "a case that can be judged", str(error))
