"""What commands share: options, so that one word means one thing everywhere, and help."""

from __future__ import annotations

import re
from collections.abc import Callable
from inspect import cleandoc
from pathlib import Path
from typing import Any, TypeVar

import click

from diagnose.faces.commands.suggest import suggest_arguments, suggest_first

Function = TypeVar("Function", bound=Callable[..., Any])

READABLE = click.Path(exists=True, dir_okay=False, readable=True, path_type=Path)
AS_IT_STANDS = "\b\n"
"""What tells click to leave the lines of a paragraph alone."""


class Command(click.Command):
    """A command whose help keeps indented lines as they stand, such as an example."""

    def __init__(self, *args: Any, **extra: Any) -> None:
        super().__init__(*args, **extra)
        self.help = with_lines_kept(self.help)


class Group(click.Group):
    """A group of such commands, with the same help."""

    command_class = Command
    group_class = type

    def __init__(self, *args: Any, **extra: Any) -> None:
        super().__init__(*args, **extra)
        self.help = with_lines_kept(self.help)


def with_lines_kept(help_text: str | None) -> str | None:
    r"""The text with a mark before each paragraph that has indented lines.

    >>> with_lines_kept("Rank causes.\n\nExample:\n  rowfault rank")
    'Rank causes.\n\n\x08\nExample:\n  rowfault rank'
    """
    if help_text is None:
        return None
    paragraphs = re.split(r"\n\s*\n", cleandoc(help_text))
    return "\n\n".join(AS_IT_STANDS + p if "\n  " in p else p for p in paragraphs)


def case_input(command: Function) -> Function:
    """Add MACHINE, ARGUMENTS, ``--file`` and ``--log``: what was observed, and on what."""
    for add in (
        click.option("--log", type=READABLE, help="Logged results: CSV with run,check,row,result."),
        click.option("--file", type=READABLE, help="A case file, YAML or JSON, to start from."),
        click.argument("arguments", nargs=-1, shell_complete=suggest_arguments),
        click.argument("machine", required=False, shell_complete=suggest_first),
    ):
        command = add(command)
    return command


def json_option(command: Function) -> Function:
    """Add ``--json``, which the command receives as ``as_json``."""
    return click.option(
        "--json", "as_json", is_flag=True, help="Print one JSON document instead, for scripts."
    )(command)


def colour_option(command: Function) -> Function:
    """Add ``--no-colour``, which the command receives as ``no_colour``."""
    return click.option(
        "--no-colour", is_flag=True, help="Print without colour; marks say the same."
    )(command)


def force_option(command: Function) -> Function:
    """Add ``--force``, which lets a file be replaced."""
    return click.option("--force", is_flag=True, help="Replace FILE when it is there already.")(
        command
    )


def format_option(command: Function) -> Function:
    """Add ``--format``, which the command receives as ``form``."""
    return click.option(
        "--format",
        "form",
        type=click.Choice(["html", "md", "json"]),
        help="The form, where the ending of FILE does not say it.",
    )(command)
