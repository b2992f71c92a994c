"""The ``rowfault`` command: its subcommands, and how errors end."""

from __future__ import annotations

import errno
import signal
import sys
from typing import IO, Any

import click

from diagnose import __version__
from diagnose.errors import RowfaultError, Unavailable
from diagnose.faces.commands.cases import cases
from diagnose.faces.commands.completion import ask_shell, completion
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
from diagnose.faces.streams import show_what_the_terminal_can

MOST_SHOWN = 20
"""So many problems are printed one by one; the rest are counted."""


class Refusal(click.ClickException):
    """An error of this project on its way to standard error, with its own exit status."""

    def __init__(self, error: RowfaultError) -> None:
        super().__init__(str(error))
        vars(self)["exit_code"] = error.exit_code

    def show(self, file: IO[Any] | None = None) -> None:
        """Print one problem on one line, several below each other."""
        lines = self.message.splitlines() or [""]
        several = len(lines) > 1
        click.echo(
            "Error: " + (f"{len(lines):,} things are wrong" if several else lines[0]), err=True
        )
        shown = lines[:MOST_SHOWN] if several else []
        for line in shown:
            click.echo(f"  {line}", err=True)
        if several and len(lines) > MOST_SHOWN:
            click.echo(f"  and {len(lines) - MOST_SHOWN:,} more", err=True)


class Rowfault(Group):
    """A group whose commands end in clear text whatever goes wrong."""

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run the command line; a shell that asks for completion is answered first."""
        try:
            _need_output()
            show_what_the_terminal_can()
            ask_shell()
            return super().main(*args, **extra)
        except OSError as error:
            refusal = Refusal(Unavailable(_system_says(error)))
            refusal.show()
            sys.exit(refusal.exit_code)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; turn this project's errors into text and an exit status."""
        try:
            return super().invoke(ctx)
        except RowfaultError as error:
            raise Refusal(error) from error
        except KeyboardInterrupt:
            ctx.exit(128 + signal.SIGINT)
        except OSError as error:
            if isinstance(error, BrokenPipeError):
                raise
            raise Refusal(Unavailable(_system_says(error))) from error


def _need_output() -> None:
    if sys.stdout is None:
        raise OSError(errno.EBADF, "expected somewhere to print to, got a closed standard output")


def _system_says(error: OSError) -> str:
    """What the system refused, and about which file.

    >>> _system_says(FileNotFoundError(2, "No such file or directory", "case.yaml"))
    'case.yaml: No such file or directory'
    """
    what = error.strerror or str(error)
    return f"{error.filename}: {what}" if error.filename else what


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
