"""The ``rowfault`` command: its subcommands, and how errors end."""

from __future__ import annotations

import errno
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

import click

from diagnose.ui.cli.completion import shell_asks
from diagnose.ui.cli.ending import INTERRUPTED, message_of
from diagnose.ui.lazy import Lazy, LazyGroup
from diagnose.ui.streams import guarded
from diagnose.version import __version__

COMMANDS = (
    ("rank", "rank:rank_command", "Rank causes and say what to test next."),
    ("plan", "plan:plan_command", "Plan tests and repairs as a tree."),
    ("work", "work:work_command", "Work a case, step by step."),
    ("ready", "report:ready_command", "List what to see to before the checks."),
    ("report", "report:report_command", "Write the report of a case."),
    ("cases", "cases:cases_command", "Keep and find your own cases."),
    ("drill", "drill:drill_command", "Practise on a hidden fault."),
    ("machine", "machine:machine_command", "List, show and check machines."),
    ("rules", "rules:rules_command", "List and check rules."),
    ("explain", "explain:explain_command", "Explain an id, a word or a command."),
    ("manual", "manual:manual_command", "Write the manual into a folder."),
    ("schema", "schema:schema_command", "Say what JSON documents look like."),
    ("completion", "completion:completion_command", "Print the completion script of SHELL."),
)
"""Each command: its name, where it stands beside this module, and the first line of its help."""


class Rowfault(LazyGroup):
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
                sys.exit(message_of(error))

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
    commands=[Lazy(name, f"diagnose.ui.cli.{where}", says) for name, where, says in COMMANDS],
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
