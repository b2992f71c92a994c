"""Shell completion: what may be typed next, and the script for a shell.

Nothing heavy is imported until a shell asks; a shell that asks never gets an error.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.shell_completion import (
    BashComplete,
    CompletionItem,
    add_completion_class,
    get_completion_class,
)

from diagnose.errors import RowfaultError
from diagnose.ui.lazy import Command

if TYPE_CHECKING:
    from diagnose.knowledge.base import Knowledge


def suggest_machines(_: click.Context, __: click.Parameter, typed: str) -> list[str]:
    """The layouts that begin with what was typed.

    >>> import click
    >>> suggest_machines(click.Context(click.Command("rank")), click.Option(["--on"]), "mounted")
    ['mounted-12', 'mounted-6']
    """
    return _matching(typed, lambda knowledge: knowledge.layouts)


def suggest_first(context: click.Context, parameter: click.Parameter, typed: str) -> list[str]:
    """Machines, or arguments too when a case file names the machine.

    >>> import click
    >>> context, option = click.Context(click.Command("rank")), click.Option(["--on"])
    >>> suggest_first(context, option, "mo")
    ['mounted-12', 'mounted-6']
    >>> context.params = {"file": "mine.yaml", "machine": "mounted-6"}
    >>> suggest_first(context, option, "mo")
    ['mounted-12', 'mounted-6', 'moving=no', 'moving=yes']
    """
    machines = suggest_machines(context, parameter, typed)
    if context.params.get("file"):
        return machines + suggest_arguments(context, parameter, typed)
    return machines


def suggest_groups(_: click.Context, __: click.Parameter, typed: str) -> list[str]:
    """The groups of rules that begin with what was typed.

    >>> import click
    >>> suggest_groups(click.Context(click.Command("list")), click.Option(["--group"]), "co")
    ['context', 'contradictions']
    """
    from diagnose.rules.vocabulary import RULE_GROUPS

    return [group for group in RULE_GROUPS if group.startswith(typed)]


def suggest_cases(_: click.Context, __: click.Parameter, typed: str) -> list[str]:
    """The cases of the casebook that begin with what was typed, newest first, and ``last``."""
    from diagnose.store.casebook import LAST, open_casebook

    try:
        with open_casebook() as casebook:
            names = [LAST, *(entry.case for entry in casebook.entries())]
    except (RowfaultError, OSError):
        return []
    return [name for name in names if name.startswith(typed)]


def suggest_ids(context: click.Context, _: click.Parameter, typed: str) -> list[str]:
    """The ids with a page that begin with what was typed.

    >>> import click
    >>> context, option = click.Context(click.Command("explain")), click.Option(["--on"])
    >>> suggest_ids(context, option, "valve:coil")
    ['valve:coil_open', 'valve:coil_shorted']
    """
    from diagnose.rules.loading import load_rules
    from diagnose.ui.manual.catalogue import Catalogue

    root = context.find_root().command
    program = root if isinstance(root, click.Group) else None
    return _matching(typed, lambda knowledge: Catalogue(knowledge, load_rules(), program).by_id)


def suggest_arguments(context: click.Context, _: click.Parameter, typed: str) -> list[str]:
    """Checks, circumstances with their values, and readings with their places.

    >>> import click
    >>> context, option = click.Context(click.Command("rank")), click.Option(["--on"])
    >>> context.params["machine"] = "mounted-6"
    >>> [suggest_arguments(context, option, typed) for typed in ("resp", "coil-resistance@row-6")]
    [['response='], ['coil-resistance@row-6/valve=']]
    """
    return _matching(typed, lambda known: _arguments(known, typed, _machine(context, known)))


def _machine(context: click.Context, knowledge: Knowledge) -> str | None:
    """The machine that was typed, or that the case file names."""
    machine: str | None = context.params.get("machine")
    file: Path | None = context.params.get("file")
    if file is None or machine in knowledge.layouts:
        return machine
    from diagnose.formats.strictyaml import read_file

    return str(read_file(file).data.get("machine"))


def _matching(typed: str, known: Callable[[Knowledge], Iterable[str]]) -> list[str]:
    from diagnose.knowledge.base import load_knowledge

    try:
        return [name for name in known(load_knowledge()) if name.startswith(typed)]
    except (RowfaultError, OSError):
        return []


def _arguments(knowledge: Knowledge, typed: str, machine: str | None) -> Iterator[str]:
    from diagnose.observations.values import measurement_ids, typeable

    yield from (f"{check}=" for check in knowledge.checks)
    for circumstance in typeable(knowledge).values():
        yield from (f"{circumstance.id}={choice}" for choice in circumstance.choices or ("",))
    measurement, at, _ = typed.partition("@")
    if at and machine:
        yield from _places(knowledge, measurement, machine)
    else:
        yield from (f"{each}@" for each in measurement_ids(knowledge))


def _places(knowledge: Knowledge, measurement: str, machine: str) -> Iterator[str]:
    from diagnose.machine.graph import load_machine
    from diagnose.observations.values import parts_with

    for part in parts_with(load_machine(machine, knowledge), measurement):
        yield f"{measurement}@{part}="


ASKED = "_ROWFAULT_COMPLETE"
SHELLS = ("bash", "zsh", "fish")


@click.command("completion", cls=Command)
@click.argument("shell", metavar="SHELL", type=click.Choice(SHELLS))
def completion_command(shell: str) -> None:
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
        *before, last = _joined([*args, incomplete])
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


def _joined(words: list[str]) -> list[str]:
    """The words with everything around ``=``, ``:`` and ``@`` put back together.

    >>> _joined(["rank", "engine", "=", "o"]), _joined(["rank", "engine", "="])
    (['rank', 'engine=o'], ['rank', 'engine='])
    >>> _joined(["rank", ""])
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
