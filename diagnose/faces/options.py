"""Options that several commands share, so that one word means one thing everywhere."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

Function = TypeVar("Function", bound=Callable[..., Any])

READABLE = click.Path(exists=True, dir_okay=False, readable=True, path_type=Path)


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
