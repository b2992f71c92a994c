"""Shell completion: the script for a shell, and what happens when the shell asks."""

from __future__ import annotations

import os
import re

import click

ASKED = "_ROWFAULT_COMPLETE"
SHELLS = ("bash", "zsh", "fish")


@click.command()
@click.argument("shell", type=click.Choice(SHELLS))
def completion(shell: str) -> None:
    """Print the script that lets SHELL complete commands, machines, checks and ids.

    \b
    Example:
      rowfault completion bash >> ~/.bashrc
    """
    from click.shell_completion import get_completion_class

    ready_bash()
    found = get_completion_class(shell)
    if found is not None:
        root = click.get_current_context().find_root()
        click.echo(found(root.command, {}, "rowfault", ASKED).source())


def ask_shell() -> None:
    """Get ready to answer a shell, when it is a shell that asks."""
    if ASKED in os.environ:
        ready_bash()


def ready_bash() -> None:
    """Teach click's bash completion that ``=``, ``:`` and ``@`` are inside our words.

    Bash cuts the line there, so ``engine=o`` comes as three words, and it replaces only what
    stands after the cut.
    """
    from click.shell_completion import BashComplete, CompletionItem, add_completion_class

    class Joined(BashComplete):
        """Bash completion that puts words back together."""

        kept = ""

        def get_completion_args(self) -> tuple[list[str], str]:
            args, incomplete = super().get_completion_args()
            *before, last = joined([*args, incomplete])
            self.kept = re.sub(r"[^=:@]*$", "", last)
            return before, last

        def format_completion(self, item: CompletionItem[str]) -> str:
            return f"{item.type},{str(item.value).removeprefix(self.kept)}"

    add_completion_class(Joined, "bash")


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
