"""What a shell may complete: machines, checks, circumstances, readings and ids.

Nothing heavy is imported until a shell asks; a shell that asks never gets an error.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from diagnose.errors import RowfaultError

if TYPE_CHECKING:
    from pathlib import Path

    import click

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
    from diagnose.reasoning.vocabulary import GROUPS

    return [group for group in GROUPS if group.startswith(typed)]


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
    import click

    from diagnose.faces.manual.catalogue import Catalogue
    from diagnose.reasoning.loading import load_rules

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
    from diagnose.knowledge.strictyaml import read_file

    return str(read_file(file).data.get("machine"))


def _matching(typed: str, known: Callable[[Knowledge], Iterable[str]]) -> list[str]:
    from diagnose.knowledge.base import load_knowledge

    try:
        return [name for name in known(load_knowledge()) if name.startswith(typed)]
    except (RowfaultError, OSError):
        return []


def _arguments(knowledge: Knowledge, typed: str, machine: str | None) -> Iterator[str]:
    from diagnose.cases.values import measurement_ids, typeable

    yield from (f"{check}=" for check in knowledge.checks)
    for circumstance in typeable(knowledge).values():
        yield from (f"{circumstance.id}={choice}" for choice in circumstance.choices or ("",))
    measurement, at, _ = typed.partition("@")
    if at and machine:
        yield from _places(knowledge, measurement, machine)
    else:
        yield from (f"{each}@" for each in measurement_ids(knowledge))


def _places(knowledge: Knowledge, measurement: str, machine: str) -> Iterator[str]:
    from diagnose.cases.values import parts_with
    from diagnose.machine.graph import load_machine

    for part in parts_with(load_machine(machine, knowledge), measurement):
        yield f"{measurement}@{part}="
