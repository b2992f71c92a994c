"""Commands that are imported when they are called: one room each, and yet help is quick.

A group holds a `Lazy` in the place of a command: its name, where it stands and the first line of
its help. That is all that ``--help`` of the group and a shell's completion need.
"""

from __future__ import annotations

import re
from importlib import import_module
from inspect import cleandoc
from typing import Any

import click

AS_IT_STANDS = "\b\n"
"""What tells click to leave the lines of a paragraph alone."""


class Command(click.Command):
    """A command whose help keeps indented lines as they stand, such as an example."""

    def __init__(self, *args: Any, **extra: Any) -> None:
        super().__init__(*args, **extra)
        self.help = with_lines_kept(self.help)


class Lazy(click.Command):
    """Stands for a command of a module that is imported when the command is called.

    ``where`` is ``module:command``; ``says`` is the first line of its help.

    >>> bare = Lazy("ready", "diagnose.ui.cli.report:ready_command", "List what to see to.")
    >>> bare.get_short_help_str(), called(bare).name
    ('List what to see to.', 'ready')
    """

    def __init__(self, name: str, where: str, says: str) -> None:
        super().__init__(name, short_help=says)
        self.where = where


def called(command: click.Command) -> click.Command:
    """The command itself, imported now if it was not yet."""
    if not isinstance(command, Lazy):
        return command
    module, _, name = command.where.partition(":")
    found = getattr(import_module(module), name)
    assert isinstance(found, click.Command)
    return found


class LazyGroup(click.Group):
    """A group of commands with the same help, some of which are imported when they are called."""

    command_class = Command
    group_class = type

    def __init__(self, *args: Any, **extra: Any) -> None:
        super().__init__(*args, **extra)
        self.help = with_lines_kept(self.help)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that was typed first, and the words after it."""
        name, found, rest = super().resolve_command(ctx, args)
        return name, found and called(found), rest


def with_lines_kept(help_text: str | None) -> str | None:
    r"""The text with a mark before each paragraph that has indented lines.

    >>> with_lines_kept("Rank causes.\n\nExample:\n  rowfault rank")
    'Rank causes.\n\n\x08\nExample:\n  rowfault rank'
    """
    if help_text is None:
        return None
    paragraphs = re.split(r"\n\s*\n", cleandoc(help_text))
    return "\n\n".join(AS_IT_STANDS + p if "\n  " in p else p for p in paragraphs)
