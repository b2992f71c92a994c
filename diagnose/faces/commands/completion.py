"""Shell completion: the script for a shell, and what happens when the shell asks."""

from __future__ import annotations

import os
import re

import click
from click.shell_completion import (
    BashComplete,
    CompletionItem,
    add_completion_class,
    get_completion_class,
)

from diagnose.faces.commands.options import Command

ASKED = "_ROWFAULT_COMPLETE"
SHELLS = ("bash", "zsh", "fish")


@click.command(cls=Command)
@click.argument("shell", metavar="SHELL", type=click.Choice(SHELLS))
def completion(shell: str) -> None:
    """Print the completion script of SHELL.

    SHELL is bash, zsh or fish. Commands, options, machines, checks, circumstances, readings
    and ids are completed.

    Example:
      rowfault completion bash >> ~/.bashrc
    """
    ready_bash()
    found = get_completion_class(shell)
    if found is not None:
        root = click.get_current_context().find_root()
        click.echo(found(root.command, {}, "rowfault", ASKED).source())


def shell_asks() -> bool:
    """Whether it is a shell that asks; then everything is ready to answer it."""
    if ASKED in os.environ:
        ready_bash()
    return ASKED in os.environ


def ready_bash() -> None:
    """Let `WholeWords` answer when bash asks."""
    add_completion_class(WholeWords, "bash")


class WholeWords(BashComplete):
    """Bash completion that knows that ``=``, ``:`` and ``@`` are inside our words.

    Bash cuts the line there, so ``engine=o`` comes as three words, and it replaces only what
    stands after the cut. After a word that ends in one of them no blank is wanted.
    """

    kept = ""
    source_template = BashComplete.source_template.replace(
        "COMPREPLY+=($value)",
        "COMPREPLY+=($value)\n            [[ $value == *[=@:] ]] && compopt -o nospace 2>/dev/null",
    )

    def get_completion_args(self) -> tuple[list[str], str]:
        """The words before the cursor and the one that is being typed, put together again."""
        args, incomplete = super().get_completion_args()
        *before, last = joined([*args, incomplete])
        self.kept = re.sub(r"[^=:@]*$", "", last)
        return before, last

    def format_completion(self, item: CompletionItem[str]) -> str:
        """What bash shall put in place of what stands after the cut.

        >>> shell = WholeWords(click.Command("rowfault"), {}, "rowfault", ASKED)
        >>> shell.kept = "engine="
        >>> shell.format_completion(CompletionItem("engine=off"))
        'plain,off'
        """
        return f"{item.type},{str(item.value).removeprefix(self.kept)}"


def joined(words: list[str]) -> list[str]:
    """The words with everything around ``=``, ``:`` and ``@`` put back together.

    >>> joined(["rank", "engine", "=", "o"]), joined(["rank", "engine", "="])
    (['rank', 'engine=o'], ['rank', 'engine='])
    >>> joined(["rank", ""])
    ['rank', '']
    """
    whole: list[str] = []
    glue = False
    for word in words:
        cut = bool(word) and set(word) <= set("=:@")
        if whole and (cut or glue):
            whole[-1] += word
        else:
            whole.append(word)
        glue = cut
    return whole
