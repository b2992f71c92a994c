"""The manual pages of commands, written from what the commands say of themselves."""

from __future__ import annotations

from collections.abc import Iterator

import click

from diagnose.ui.lazy import called
from diagnose.ui.manual.pages import bullets, page
from diagnose.ui.words import sentence

NAME = "rowfault"


def every_command(program: click.Group) -> Iterator[tuple[str, click.Context]]:
    """Every command by the words that call it, such as ``rules list``, groups before members.

    >>> @click.group()
    ... def program(): ...
    >>> @program.command()
    ... def check(): ...
    >>> [name for name, _ in every_command(program)]
    ['check']
    """
    yield from _below(program, click.Context(program, info_name=NAME), ())


def _below(
    group: click.Group, above: click.Context, words: tuple[str, ...]
) -> Iterator[tuple[str, click.Context]]:
    for name, each in group.commands.items():
        command = called(each)
        context = click.Context(command, info_name=name, parent=above)
        yield " ".join((*words, name)), context
        if isinstance(command, click.Group):
            yield from _below(command, context, (*words, name))


def command_page(name: str, context: click.Context) -> str:
    """What a command does, how it is called, its options and its own commands.

    >>> context = click.Context(click.Command("mend", help="Mend a row."), info_name="mend")
    >>> print(command_page("mend", context))
    # rowfault mend
    <BLANKLINE>
    ## What it does
    <BLANKLINE>
    Mend a row.
    <BLANKLINE>
    ## How it is called
    <BLANKLINE>
        mend [OPTIONS]
    <BLANKLINE>
    ## Options
    <BLANKLINE>
    - `--help`: Show this message and exit.
    """
    command = context.command
    below = command.commands if isinstance(command, click.Group) else {}
    inner = (f"`{name} {each}`: {sub.get_short_help_str(200)}" for each, sub in below.items())
    usage = " ".join([context.command_path, *command.collect_usage_pieces(context)])
    return page(
        f"{NAME} {name}",
        ("What it does", _with_examples(command.help or "")),
        ("How it is called", f"    {usage}"),
        ("Commands", bullets(inner)),
        ("Options", bullets(_options(command, context))),
    )


def _options(command: click.Command, context: click.Context) -> Iterator[str]:
    for parameter in command.get_params(context):
        record = parameter.get_help_record(context)
        if record is not None and isinstance(parameter, click.Option):
            yield f"`{record[0]}`: {sentence(record[1])}"


def _with_examples(help_text: str) -> str:
    """The help as Markdown: the lines of an example as code."""
    paragraphs = help_text.replace("\b\n", "").split("\n\n")
    return "\n\n".join(map(_paragraph, paragraphs))


def _paragraph(text: str) -> str:
    r"""A paragraph; indented lines in it become code.

    >>> _paragraph("Example:\n  rowfault rank mounted-6")
    'Example:\n\n    rowfault rank mounted-6'
    """
    plain = [line for line in text.splitlines() if not line.startswith("  ")]
    code = [f"  {line}" for line in text.splitlines() if line.startswith("  ")]
    return "\n\n".join("\n".join(part) for part in (plain, code) if part)
