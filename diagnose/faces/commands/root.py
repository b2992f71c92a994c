"""The ``rowfault`` command: its subcommands, and how errors end."""

from __future__ import annotations

import errno
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

import click

from diagnose import __version__
from diagnose.faces.commands.cases import cases
from diagnose.faces.commands.completion import completion, shell_asks
from diagnose.faces.commands.drill import drill
from diagnose.faces.commands.explain import explain
from diagnose.faces.commands.machine import machine
from diagnose.faces.commands.manual import manual
from diagnose.faces.commands.options import Group
from diagnose.faces.commands.plan import plan
from diagnose.faces.commands.rank import rank
from diagnose.faces.commands.ready import ready
from diagnose.faces.commands.report import report
from diagnose.faces.commands.rules import rules
from diagnose.faces.commands.work import work
from diagnose.faces.ending import INTERRUPTED, told
from diagnose.faces.streams import guarded


class Rowfault(Group):
    """A group whose commands end in clear text whatever goes wrong.

    This is the one place where an error becomes a message and an exit status; `told` knows how.
    """

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run the command line; a shell that asks for completion is answered, or told nothing."""
        if shell_asks():
            with suppress(Exception):
                return super().main(*args, **extra)
            sys.exit(1)
        with guarded():
            try:
                _need_output()
                return super().main(*args, **extra)
            except KeyboardInterrupt:
                sys.exit(INTERRUPTED)
            except Exception as error:
                sys.exit(told(error))

    def make_context(self, *args: Any, **extra: Any) -> click.Context:
        """Read the line; Ctrl-C meanwhile is quiet."""
        with _quiet_when_interrupted():
            return super().make_context(*args, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; Ctrl-C meanwhile is quiet."""
        with _quiet_when_interrupted():
            return super().invoke(ctx)


@contextmanager
def _quiet_when_interrupted() -> Iterator[None]:
    """End on Ctrl-C before click hears of it, which would say that it aborted."""
    try:
        yield
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)


def _need_output() -> None:
    if sys.stdout is None:
        raise OSError(errno.EBADF, "expected somewhere to print to, got a closed standard output")


def _print_version(ctx: click.Context, _: click.Parameter, asked: bool) -> None:
    if asked and not ctx.resilient_parsing:
        click.echo(f"rowfault {__version__}")
        ctx.exit()


@click.group(
    cls=Rowfault,
    context_settings={"help_option_names": ["-h", "--help"]},
    commands=[
        rank,
        plan,
        work,
        ready,
        report,
        cases,
        drill,
        machine,
        rules,
        explain,
        manual,
        completion,
    ],
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_version,
    help="Print the version and stop.",
)
def rowfault() -> None:
    """Find out why rows fail a bleed or response check, and what to test next.

    Example:
      rowfault rank mounted-12 response=PPPPFPPPPPPP oil=54C engine=on
    """
