"""One page of the manual."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping

from pydantic import JsonValue

from diagnose.record import record
from diagnose.ui.words import blanked

SORTS: Mapping[str, str] = {
    "guide": "Guides",
    "command": "Commands",
    "check": "Checks",
    "circumstance": "Circumstances",
    "group": "Groups of causes",
    "part kind": "Part kinds",
    "mode": "Modes of failure",
    "act": "Acts",
    "set-up": "Set-ups",
    "rule": "Rules",
    "machine": "Layouts",
    "schema": "JSON documents",
    "word": "Words",
}
"""The sorts of pages in the order of the contents, with their headings."""

Key = tuple[str, str]
"""Sort and id."""


FIRST_SENTENCE = re.compile(r"(?<=[.?!]) ")


@record
class Page:
    """One page.

    Parameters
    ----------
    text: the page as Markdown, its title first; what belongs beside it is not in it.
    data: what it was written from, where that is data.
    names: other pages that it speaks of, by id alone or as ``sort/id``; what names no
        page is left out.
    see: the pages that belong beside it, those that speak of it included.
    """

    sort: str
    id: str
    text: str
    data: Mapping[str, JsonValue]
    names: tuple[str, ...] = ()
    see: tuple[Key, ...] = ()

    @property
    def key(self) -> Key:
        """What no other page has.

        >>> Page("word", "fold", "# fold", {}).key
        ('word', 'fold')
        """
        return self.sort, self.id

    @property
    def title(self) -> str:
        r"""The first heading.

        >>> Page("mode", "valve:leaking", "# row valve: leaking\n\n## What happens", {}).title
        'row valve: leaking'
        """
        return self.text.partition("\n")[0].removeprefix("# ")

    @property
    def summary(self) -> str:
        r"""The first sentence below the title and the first heading.

        >>> Page("word", "fold", "# fold\n\n## What it means\n\nA hinge. Of a wing.", {}).summary
        'A hinge.'
        """
        lines = [line for line in self.text.splitlines()[1:] if line and not line.startswith("#")]
        return FIRST_SENTENCE.split(blanked(lines[0]), maxsplit=1)[0] if lines else ""

    @property
    def whole(self) -> str:
        """The text with what belongs beside it, by sort.

        >>> page = Page("word", "fold", "# fold", {}, see=(("check", "bleed"), ("word", "wing")))
        >>> [line for line in page.whole.splitlines() if line]
        ['# fold', '## See also', '- Checks: `bleed`', '- Words: `wing`']
        """
        return f"{self.text}\n\n{_see_also(self.see)}".rstrip()


def _see_also(see: Iterable[Key]) -> str:
    by_sort: dict[str, list[str]] = defaultdict(list)
    for sort, id in see:
        by_sort[sort].append(f"`{id}`")
    lines = (f"- {SORTS[sort]}: {', '.join(ids)}" for sort, ids in by_sort.items())
    return "\n".join(["## See also", "", *lines]) if by_sort else ""
