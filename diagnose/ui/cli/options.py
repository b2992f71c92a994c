"""What commands share: options, so that one word means one thing everywhere."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar
from unicodedata import category

import click

from diagnose.errors import quoted
from diagnose.ui.cli.completion import suggest_arguments, suggest_first

Function = TypeVar("Function", bound=Callable[..., Any])

LONGEST_WORDS = 4_000
"""Letters of a title, a name or anything else that is typed in words."""
LONGEST_ARGUMENT = 100_000
"""Letters of a word that tells results, such as a pattern of a thousand rows in words."""
MOST_LIMIT = 1_000_000
"""More than this is asked of no list."""


class FilePath(click.Path):
    """A path; one that no system could hold is refused like any that is not there."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The path. Fails on a zero byte, at which the system's own functions raise."""
        if "\0" in str(value):
            self.fail(f"{str(value)!r} is no path: it has a zero byte in it.", param, ctx)
        return super().convert(value, param, ctx)


READABLE = FilePath(exists=True, dir_okay=False, readable=True, path_type=Path)


class Words(click.ParamType[str]):
    """Text that somebody typed: some, not too much, in UTF-8, without control characters.

    ``blank`` lets it be empty. Names of files are no words: theirs may be any bytes.

    >>> Words().convert("hose rubs", None, None)
    'hose rubs'
    >>> Words(most=3).convert("hose", None, None)
    Traceback (most recent call last):
    click.exceptions.BadParameter: expected at most 3 letters, got 4
    """

    name = "text"

    def __init__(self, most: int = LONGEST_WORDS, *, blank: bool = False) -> None:
        self.most, self.blank = most, blank

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The text as it was typed. Raises `click.BadParameter`."""
        text = str(value)
        marks = {category(letter) for letter in text if letter not in "\n\t"}
        if "Cs" in marks:
            self.fail(f"expected text in UTF-8, got {quoted(text)}", param, ctx)
        if "Cc" in marks:
            self.fail(f"expected text without control characters, got {quoted(text)}", param, ctx)
        if len(text) > self.most:
            self.fail(f"expected at most {self.most:,} letters, got {len(text):,}", param, ctx)
        if not self.blank and not text.strip():
            self.fail("expected some words, got nothing", param, ctx)
        return text


WORDS, ARGUMENT = Words(), Words(LONGEST_ARGUMENT, blank=True)


class NameOrPath(click.ParamType[str]):
    r"""The name of something that is known, or the path of a file, which may be any bytes.

    >>> NameOrPath().convert("mounted\x00", None, None)
    Traceback (most recent call last):
    click.exceptions.BadParameter: expected a name or a path, got 'mounted\x00'
    """

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """The text as it was typed. Raises `click.BadParameter`."""
        text = str(value)
        if "\0" in text:
            self.fail(f"expected a name or a path, got {quoted(text)}", param, ctx)
        return text


NAME_OR_PATH = NameOrPath()


def case_input(command: Function) -> Function:
    """Add MACHINE, ARGUMENTS, ``--file`` and ``--log``: what was observed, and on what."""
    for add in (
        click.option("--log", type=READABLE, help="Logged results: CSV with run,check,row,result."),
        click.option("--file", type=READABLE, help="A case file, YAML or JSON, to start from."),
        click.argument("arguments", nargs=-1, type=ARGUMENT, shell_complete=suggest_arguments),
        click.argument("machine", required=False, type=NAME_OR_PATH, shell_complete=suggest_first),
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


def who_option(command: Function) -> Function:
    """Add ``--who``: whose last case ``last`` is."""
    return click.option(
        "--who", type=WORDS, help="Whose last case is meant by last; yours when left out."
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
