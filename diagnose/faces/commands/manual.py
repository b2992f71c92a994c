"""``rowfault manual``: the whole manual as files."""

from __future__ import annotations

from pathlib import Path

import click

from diagnose.faces.commands.options import Command


@click.command(cls=Command)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--markdown", is_flag=True, help="Write Markdown instead of pages for a browser.")
@click.option("--force", is_flag=True, help="Replace the pages that rowfault wrote into FOLDER.")
@click.pass_context
def manual(context: click.Context, *, folder: Path, markdown: bool, force: bool) -> None:
    """Write the manual into a folder.

    A page for each rule, part kind, mode, check, circumstance, act, layout, command and word, and
    guides for the technician, dealer support and the apprentice. FOLDER/index.html is the first
    page; the pages need nothing but one another. Your own files in FOLDER stay as they are.

    Example:
      rowfault manual manual-pages
    """
    from diagnose.faces.manual.publishing import published

    program = context.find_root().command
    assert isinstance(program, click.Group)
    published(program, folder, markdown=markdown, force=force)
