"""``rowfault explain``: pages of the manual."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import click
from rich.markdown import Markdown

from diagnose.knowledge.base import load_knowledge
from diagnose.reports.forms.listings import ExplanationReport, PageReport
from diagnose.rules.loading import load_rules
from diagnose.ui.cli.completion import suggest_ids
from diagnose.ui.cli.options import ARGUMENT, colour_option, json_option
from diagnose.ui.lazy import Command
from diagnose.ui.manual.catalogue import Catalogue
from diagnose.ui.manual.lookup import for_scripts, looked_up
from diagnose.ui.manual.onepage import SORTS, Page
from diagnose.ui.terminal.output import console, print_json, print_lines, print_tidily
from diagnose.ui.words import how_many


@click.command("explain", cls=Command)
@click.argument("topic", nargs=-1, type=ARGUMENT, shell_complete=suggest_ids)
@click.option("--plain", is_flag=True, help="Print the page as plain Markdown text.")
@json_option
@colour_option
@click.pass_context
def explain_command(
    context: click.Context, *, topic: tuple[str, ...], plain: bool, as_json: bool, no_colour: bool
) -> None:
    """Explain an id, a word or a command.

    TOPIC is the id of a rule, part kind, part, mode, check, circumstance, act, layout or group of
    causes, a command, a word or a guide; for other words the pages that speak of them are listed.
    Without it, what there is to read. In a pipe the page is plain Markdown text.

    Example:
      rowfault explain valve:coil_open
      rowfault explain tutorial
      rowfault explain kinked hose
    """
    program = context.find_root().command
    assert isinstance(program, click.Group)
    _show(" ".join(topic), program, as_json=as_json, plain=plain, colour=not no_colour)


_WIDEST = 80
"""Longer lines are hard to read."""
WITHOUT_BACKGROUND = "ansi_dark"
LISTED_ELSEWHERE = {"rule": "`rowfault rules list` lists them"}
"""Sorts with too many pages for the contents, and where they are listed."""


def _show(topic: str, program: click.Group, *, as_json: bool, plain: bool, colour: bool) -> None:
    """Print the pages of a topic, those that speak of it, or what there is to read.

    Raises `UnknownName` when no page speaks of it.
    """
    knowledge = load_knowledge()
    catalogue = Catalogue(knowledge, load_rules(), program, scripts=for_scripts(topic))
    if not topic.strip():
        found, text = catalogue.pages, contents(catalogue)
    else:
        found, meant = looked_up(topic, catalogue, knowledge)
        text = "\n\n".join(page.whole for page in found) if meant else offered(topic, found)
    if as_json:
        pages = (PageReport(sort=page.sort, text=page.text, data=page.data) for page in found)
        print_json(ExplanationReport(id=topic, pages=tuple(pages)))
    else:
        _print(text, plain, colour)


def _print(text: str, plain: bool, colour: bool) -> None:
    screen = console(colour)
    if plain or not screen.is_terminal:
        print_lines([text])
        return
    screen.width = min(screen.width, _WIDEST)
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
        lines += ["", f"## {heading}", "", f"{how_many(len(pages), 'page')}: {shown}"]
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
