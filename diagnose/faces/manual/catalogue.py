"""Every page of the manual, and which pages belong beside each.

A page is found by its sort and id; ids alone may stand for several pages, such as ``supply``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cached_property

import click

from diagnose.faces.manual.onepage import SORTS, Key, Page
from diagnose.faces.manual.writing import written
from diagnose.knowledge.base import Knowledge
from diagnose.reasoning.loading import Rules


class Catalogue:
    """Every page, with the pages beside each worked out.

    Raises `FileProblems` for data that is not sound.
    """

    def __init__(
        self, knowledge: Knowledge, rules: Rules, program: click.Group | None = None
    ) -> None:
        found = list(written(knowledge, rules, program))
        self.pages = tuple(_beside(sorted(found, key=lambda page: [*SORTS].index(page.sort))))

    @cached_property
    def by_key(self) -> Mapping[Key, Page]:
        """Every page by sort and id.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.reasoning.loading import load_rules
        >>> Catalogue(load_knowledge(), load_rules()).by_key["check", "bleed"].title
        'bleed check (bleed)'
        """
        return {page.key: page for page in self.pages}

    @cached_property
    def by_id(self) -> Mapping[str, tuple[Page, ...]]:
        """The pages that an id stands for.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.reasoning.loading import load_rules
        >>> [page.sort for page in Catalogue(load_knowledge(), load_rules()).by_id["supply"]]
        ['circumstance', 'group']
        """
        found: dict[str, list[Page]] = defaultdict(list)
        for page in self.pages:
            found[page.id].append(page)
        return {id: tuple(each) for id, each in found.items()}

    def of(self, sort: str) -> tuple[Page, ...]:
        """The pages of a sort, in the order of the data.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.reasoning.loading import load_rules
        >>> [page.id for page in Catalogue(load_knowledge(), load_rules()).of("check")]
        ['bleed', 'response']
        """
        return tuple(page for page in self.pages if page.sort == sort)


def _beside(found: Iterable[Page]) -> Iterator[Page]:
    """The pages, each with those that it names and those that name it."""
    found = list(found)
    named: dict[str, list[Key]] = defaultdict(list)
    for page in found:
        named[page.id].append(page.key)
        named["/".join(page.key)].append(page.key)
    see: dict[Key, dict[Key, None]] = {page.key: {} for page in found}
    for page in found:
        for key in (key for name in page.names for key in named[name] if key != page.key):
            see[page.key][key] = None
            see[key][page.key] = None
    order = {page.key: place for place, page in enumerate(found)}
    for page in found:
        yield replace(page, see=tuple(sorted(see[page.key], key=order.__getitem__)))
