"""What a shell may complete: machines, checks, circumstances, readings and ids.

Nothing heavy is imported until a shell asks; a shell that asks never gets an error.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from diagnose.errors import RowfaultError

if TYPE_CHECKING:
    import click

    from diagnose.knowledge.base import Knowledge


def suggest_machines(_: click.Context, __: click.Parameter, typed: str) -> list[str]:
    """The layouts that begin with what was typed."""
    return _matching(typed, lambda knowledge: knowledge.layouts)


def suggest_ids(_: click.Context, __: click.Parameter, typed: str) -> list[str]:
    """The ids with a page that begin with what was typed."""
    from diagnose.faces.lookup import ids
    from diagnose.reasoning.loading import load_rules

    return _matching(typed, lambda knowledge: ids(knowledge, load_rules()))


def suggest_arguments(context: click.Context, _: click.Parameter, typed: str) -> list[str]:
    """Checks, circumstances with their values, and readings with their places."""
    machine = context.params.get("machine")
    return _matching(typed, lambda knowledge: _arguments(knowledge, typed, machine))


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
