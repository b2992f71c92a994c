"""What a rule concluded, with the facts that made it fire."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field

from diagnose.record import record

FactValue = int | float | str


@record
class Fact:
    """One thing the rules can match: a kind and named values.

    >>> str(Fact("run", {"run": 1, "check": "bleed", "failed": 2}))
    'run(run=1, check=bleed, failed=2)'
    """

    kind: str
    values: Mapping[str, FactValue]

    def __str__(self) -> str:
        inside = ", ".join(f"{name}={value}" for name, value in self.values.items())
        return f"{self.kind}({inside})"


@record
class RuleFinding:
    """A conclusion: the rule behind it, what it says, what it is about, and why.

    Parameters
    ----------
    rule: id of the rule.
    kind: ``state``, ``standing``, ``prior``, ``reading``, ``pattern``, ``contradiction``,
        ``advice`` or ``caution``. The first, third and fourth feed the posterior, once each.
    values: the conclusion's named values, as the rule's ``then`` gives them.
    says: one sentence for people.
    about: ids of runs (``run-1``), rows (``row-6``) or parts it concerns.
    because: the facts and findings that made the rule fire, in words.
    sources: the same as values: follow them to the root.
    """

    rule: str
    kind: str
    values: Mapping[str, FactValue]
    says: str
    about: tuple[str, ...]
    because: tuple[str, ...]
    sources: tuple[Fact | RuleFinding, ...] = field(default=(), repr=False)

    def roots(self) -> tuple[Fact, ...]:
        """The facts at the root of this finding, each once, in order.

        >>> fact = Fact("run", {"run": 1})
        >>> first = RuleFinding("a", "state", {}, "", (), (), (fact,))
        >>> RuleFinding("b", "advice", {}, "", (), (), (first, fact)).roots() == (fact,)
        True
        """
        found: list[Fact] = []
        for source in self.sources:
            leaves = (source,) if isinstance(source, Fact) else source.roots()
            found += [leaf for leaf in leaves if leaf not in found]
        return tuple(found)
