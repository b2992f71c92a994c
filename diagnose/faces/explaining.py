"""What ``rowfault explain`` does."""

from __future__ import annotations

from rich.markdown import Markdown

from diagnose.faces.lookup import explained
from diagnose.faces.output import console, print_json, print_lines, print_tidily
from diagnose.knowledge.base import load_knowledge
from diagnose.reasoning.loading import load_rules

WIDEST = 80
"""Longer lines are hard to read."""
WITHOUT_BACKGROUND = "ansi_dark"


def show(name: str, *, as_json: bool, plain: bool, colour: bool) -> None:
    """Print the page of an id. Raises `UnknownName`."""
    found = explained(name, load_knowledge(), load_rules())
    screen = console(colour)
    if as_json:
        pages = [{"sort": each.sort, "text": each.text, "data": each.data} for each in found]
        print_json({"schema": "rowfault/explanation/1", "id": name, "pages": pages})
    elif plain or not screen.is_terminal:
        print_lines(["\n\n".join(each.text for each in found)])
    else:
        screen.width = min(screen.width, WIDEST)
        for each in found:
            print_tidily(screen, Markdown(each.text, code_theme=WITHOUT_BACKGROUND))
