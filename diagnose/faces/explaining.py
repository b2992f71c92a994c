"""What ``rowfault explain`` does."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import click
from rich.markdown import Markdown

from diagnose.faces.lookup import looked_up
from diagnose.faces.manual.catalogue import Catalogue
from diagnose.faces.manual.onepage import SORTS, Page
from diagnose.faces.output import console, print_json, print_lines, print_tidily
from diagnose.faces.words import counted
from diagnose.knowledge.base import load_knowledge
from diagnose.reasoning.loading import load_rules

WIDEST = 80
"""Longer lines are hard to read."""
WITHOUT_BACKGROUND = "ansi_dark"
LISTED_ELSEWHERE = {"rule": "`rowfault rules list` lists them"}
"""Sorts with too many pages for the contents, and where they are listed."""


def show(topic: str, program: click.Group, *, as_json: bool, plain: bool, colour: bool) -> None:
    """Print the pages of a topic, those that speak of it, or what there is to read.

    Raises `UnknownName` when no page speaks of it.
    """
    knowledge = load_knowledge()
    catalogue = Catalogue(knowledge, load_rules(), program)
    if not topic.strip():
        found, text = catalogue.pages, contents(catalogue)
    else:
        found, meant = looked_up(topic, catalogue, knowledge)
        text = "\n\n".join(page.whole for page in found) if meant else offered(topic, found)
    if as_json:
        pages = [{"sort": page.sort, "text": page.text, "data": page.data} for page in found]
        print_json({"schema": "rowfault/explanation/1", "id": topic, "pages": pages})
    else:
        _print(text, plain, colour)


def _print(text: str, plain: bool, colour: bool) -> None:
    screen = console(colour)
    if plain or not screen.is_terminal:
        print_lines([text])
        return
    screen.width = min(screen.width, WIDEST)
    print_tidily(screen, Markdown(text, code_theme=WITHOUT_BACKGROUND))


def contents(catalogue: Catalogue) -> str:
    r"""What there is to read, as Markdown.

    >>> text = contents(Catalogue(load_knowledge(), load_rules()))
    >>> text.partition("## Checks\n\n")[2].splitlines()[0]
    '2 pages: `bleed`, `response`'
    """
    lines = ["# What there is to read", "", "`rowfault explain ID` shows a page; words search."]
    for sort, heading in SORTS.items():
        pages = catalogue.of(sort)
        shown = LISTED_ELSEWHERE.get(sort) or ", ".join(f"`{page.id}`" for page in pages)
        lines += ["", f"## {heading}", "", f"{counted(len(pages), 'page')}: {shown}"]
    return "\n".join(lines)


def offered(topic: str, found: Sequence[Page]) -> str:
    r"""The pages that a search found, as Markdown.

    >>> fold = Page("word", "fold", "# fold\n\n## What it means\n\nA hinge. Of a wing.", {})
    >>> offered("wings", [fold])
    '# Pages that speak of wings\n\n- `fold`, word: A hinge.'
    """
    return "\n".join([f"# Pages that speak of {topic}", "", *_offers(found)])


def _offers(found: Sequence[Page]) -> Iterator[str]:
    for page in found:
        yield f"- `{page.id}`, {page.sort}: {page.summary}"
