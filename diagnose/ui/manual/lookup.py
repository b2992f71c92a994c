"""What a topic stands for: the pages of an id, or those that speak of some words."""

from __future__ import annotations

import re
from collections.abc import Iterator

from diagnose.errors import Place, RowfaultError, UnknownName
from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import load_machine
from diagnose.ui.manual.catalogue import Catalogue
from diagnose.ui.manual.onepage import Page

MOST_FOUND = 12
"""So many pages are offered for words that are searched for."""

FOR_SCRIPTS = frozenset(("json", "schema"))
"""Who looks for one of these writes scripts."""

WORD = re.compile(r"[^\W_]+")


def for_scripts(topic: str) -> bool:
    """Whether somebody who writes scripts looks for a topic, or for all that there is.

    Nobody else is offered what documents look like, which takes a while to write.

    >>> for_scripts("json:plan"), for_scripts(""), for_scripts("a plan")
    (True, True, False)
    """
    words = set(_words(topic))
    return not words or bool(words & FOR_SCRIPTS)


def pages_about(topic: str, catalogue: Catalogue, knowledge: Knowledge) -> tuple[Page, ...]:
    """Every page that the id or title stands for; most stand for one.

    Raises
    ------
    UnknownName: nothing answers to it; the nearest ids are offered.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.rules.loading import load_rules
    >>> known = load_knowledge()
    >>> pages = Catalogue(known, load_rules())
    >>> [page.sort for page in pages_about("oil", pages, known)]
    ['circumstance']
    >>> [page.id for page in pages_about("row-6/valve:coil-open", pages, known)]
    ['valve:coil_open']
    """
    name = " ".join(topic.split())
    found = catalogue.by_id.get(_page_id(name, knowledge)) or _titled(name, catalogue)
    if not found:
        see = "rowfault explain"
        raise UnknownName(Place("explain"), "an id or words", name, catalogue.by_id, see)
    return found


def looked_up(
    topic: str, catalogue: Catalogue, knowledge: Knowledge
) -> tuple[tuple[Page, ...], bool]:
    """The pages that a topic stands for and True, or those that speak of it, best first, and False.

    Raises `UnknownName` when no page does.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.rules.loading import load_rules
    >>> known = load_knowledge()
    >>> pages = Catalogue(known, load_rules())
    >>> found, meant = looked_up("bleed check", pages, known)
    >>> [page.id for page in found], meant
    (['bleed'], True)
    >>> looked_up("winding broken", pages, known)[1]
    False
    """
    try:
        return pages_about(topic, catalogue, knowledge), True
    except UnknownName:
        found = searched(topic, catalogue)
        if not found:
            raise
        return found, False


def searched(words: str, catalogue: Catalogue) -> tuple[Page, ...]:
    """The pages in which every word occurs, those first that have them in their title.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.rules.loading import load_rules
    >>> pages = Catalogue(load_knowledge(), load_rules())
    >>> "valve:coil_open" in [page.id for page in searched("winding broken", pages)]
    True
    """
    wanted = set(_words(words))
    if not wanted:
        return ()
    weighed = [(_weight(page, wanted), page) for page in catalogue.pages]
    found = [pair for pair in weighed if pair[0] > 0]
    found.sort(key=lambda pair: -pair[0])
    return tuple(page for _, page in found[:MOST_FOUND])


def _weight(page: Page, wanted: set[str]) -> float:
    """How much a page is about some words; 0 when one of them is not in it."""
    title, text = _words(f"{page.title} {page.id}"), _words(page.text)
    if not wanted <= {*title, *text}:
        return 0.0
    often = sum(text.count(word) for word in wanted)
    of_title = len(wanted & set(title))
    return 10.0 * of_title + 5.0 * of_title / len(set(title)) + often / (often + 20)


def _words(text: str) -> list[str]:
    return WORD.findall(text.casefold())


def _titled(name: str, catalogue: Catalogue) -> tuple[Page, ...]:
    """The pages with this title, whatever its letters' size."""
    wanted = name.casefold()
    return tuple(page for page in catalogue.pages if wanted in _titles(page))


def _titles(page: Page) -> Iterator[str]:
    """The title, without the id in brackets and the sort before the colon too.

    >>> list(_titles(Page("mode", "valve:leaking", "# row valve: leaking (valve:leaking)", {})))
    ['row valve: leaking (valve:leaking)', 'row valve: leaking', 'row valve leaking']
    """
    title = page.title.casefold()
    yield title
    short = title.partition(" (")[0]
    yield short
    yield short.replace(":", "")


def _page_id(name: str, knowledge: Knowledge) -> str:
    """The id of the page for a cause, an act or a part of some machine; else the name itself."""
    if name.startswith("circumstances/"):
        return name.removeprefix("circumstances/").partition("@")[0]
    part, colon, mode = name.partition("@")[0].partition(":")
    kind = _kind_of(part, knowledge) if "/" in part else part
    return f"{kind}{colon}{mode.replace('-', '_') if colon else ''}"


def _kind_of(part: str, knowledge: Knowledge) -> str:
    """The kind of a part that some machine has; else the part itself."""
    for layout in knowledge.layouts:
        try:
            machine = load_machine(layout, knowledge)
        except RowfaultError:
            continue
        if part in machine.parts:
            return machine.parts[part].id
    return part
