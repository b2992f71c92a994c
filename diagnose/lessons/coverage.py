"""What the worked cases exercise, and what none of them does."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import get_args

from diagnose.knowledge.base import Knowledge
from diagnose.lessons.playing import Played, played
from diagnose.lessons.worked import Next, Worked
from diagnose.reasoning.loading import load_rules
from diagnose.record import record

WORTH_NAMING = 0.05
"""A mode counts as met where it was at least so probable."""


@record
class Coverage:
    """Per sort of thing, what was met and all that there is, in order."""

    met: Mapping[str, frozenset[str]]
    every: Mapping[str, tuple[str, ...]]

    def missing(self, sort: str) -> tuple[str, ...]:
        """What no worked case exercises.

        >>> found = Coverage({"acts": frozenset({"swap"})}, {"acts": ("ask", "swap", "look")})
        >>> found.missing("acts")
        ('ask', 'look')
        """
        return tuple(name for name in self.every[sort] if name not in self.met[sort])


def coverage(cases: Iterable[Worked], knowledge: Knowledge) -> Coverage:
    """What some worked cases exercise of layouts, part kinds, modes, rules and kinds of act.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.knowledge.places import shipped
    >>> from diagnose.lessons.worked import read_worked
    >>> case = read_worked(shipped().casebook / "worked" / "all-well.yaml")  # two passes, proven
    >>> found = coverage([case], load_knowledge(learned=False))
    >>> sorted(found.met["layouts"]), sorted(found.met["acts"])
    (['mounted-12'], ['proven'])
    >>> [name in found.missing("patterns") for name in ("nothing-failed", "one-row-alone")]
    [False, True]
    """
    every = _every(knowledge)
    met: dict[str, set[str]] = {sort: set() for sort in every}
    for worked in cases:
        met["layouts"].add(worked.machine)
        for step in played(worked, knowledge):
            _count(met, step)
    return Coverage({sort: frozenset(met[sort]).intersection(every[sort]) for sort in every}, every)


def _every(knowledge: Knowledge) -> dict[str, tuple[str, ...]]:
    rules = load_rules().rules
    return {
        "layouts": tuple(knowledge.layouts),
        "part kinds": tuple(knowledge.parts),
        "modes": tuple(f"{k}:{m.id}" for k, kind in knowledge.parts.items() for m in kind.modes),
        "patterns": tuple(rule.id for rule in rules if rule.group == "patterns"),
        "rules": tuple(rule.id for rule in rules),
        "acts": get_args(Next),
    }


def _count(met: Mapping[str, set[str]], step: Played) -> None:
    parts = step.machine.parts
    for cause in step.ranking.causes:
        likely = max(cause.probability, cause.cured)
        if cause.part in parts and likely >= WORTH_NAMING:
            met["part kinds"].add(parts[cause.part].id)
            met["modes"].add(f"{parts[cause.part].id}:{cause.mode}")
    met["rules"].update(step.rules)
    met["patterns"].update(step.rules)
    met["acts"].add(step.next)
