"""``rowfault schema``: what the JSON documents look like that other commands print."""

from __future__ import annotations

import sys

import click

from diagnose.reports.schemas import DOCUMENTS, schema_of
from diagnose.ui.cli.options import WORDS
from diagnose.ui.lazy import Command
from diagnose.ui.terminal.output import in_json, print_lines


@click.command("schema", cls=Command)
@click.argument("name", required=False, type=WORDS)
def schema_command(name: str | None) -> None:
    """Say what JSON documents look like.

    NAME is the kind of document; left out, all kinds are listed with the commands that print
    them. What is printed for a kind is its JSON Schema (draft 2020-12): every field with its type.

    Example:
      rowfault schema ranking
    """
    if name is None:
        for each, document in DOCUMENTS.items():
            print_lines([f"{each}: {document.says}", f"    rowfault {document.printed_by}"])
    else:
        sys.stdout.write(in_json(schema_of(name)))
