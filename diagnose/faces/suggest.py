"""What a shell may complete: machines, checks, circumstances, ids. Asked, never imported early."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from diagnose.errors import RowfaultError

if TYPE_CHECKING:
    import click

    from diagnose.knowledge.base import Knowledge


def suggest_machines(_: click.Context, __: click.Parameter, typed: str) -> list[str]:
    """The layouts that begin with what was typed."""
    return _matching(typed, _of_knowledge(lambda knowledge: knowledge.layouts))
