"""The command line documents itself: every command and every option, with an example."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator

import click
import pytest
from click.testing import CliRunner

from diagnose.ui.cli.root import rowfault
from diagnose.ui.lazy import Lazy, called


def commands(
    command: click.Command, path: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Every command with the words that lead to it, the root first."""
    yield path, command
    for name, below in getattr(command, "commands", {}).items():
        yield from commands(called(below), (*path, name))


EVERY = list(commands(rowfault))
NAMES = [" ".join(("rowfault", *path)) for path, _ in EVERY]


def help_of(path: tuple[str, ...]) -> str:
    result = CliRunner().invoke(rowfault, [*path, "--help"], prog_name="rowfault")
    assert result.exit_code == 0
    return result.output


@pytest.mark.parametrize(("path", "command"), EVERY, ids=NAMES)
def test_every_command_has_an_example_of_itself(
    path: tuple[str, ...], command: click.Command
) -> None:
    example = help_of(path).partition("  Example:\n")[2].splitlines()[0]
    assert shlex.split(example)[: len(path) + 1] == ["rowfault", *path]


@pytest.mark.parametrize(("path", "command"), EVERY, ids=NAMES)
def test_every_option_has_help(path: tuple[str, ...], command: click.Command) -> None:
    options = [each for each in command.params if isinstance(each, click.Option)]
    assert [option.name for option in options if not option.help] == []


@pytest.mark.parametrize(("path", "command"), EVERY, ids=NAMES)
def test_help_fits_a_terminal(path: tuple[str, ...], command: click.Command) -> None:
    assert max(map(len, help_of(path).splitlines())) <= 80


@pytest.mark.parametrize(("path", "command"), EVERY[1:], ids=NAMES[1:])
def test_the_first_line_of_help_is_not_cut_in_lists(
    path: tuple[str, ...], command: click.Command
) -> None:
    assert not command.get_short_help_str().endswith("...")


@pytest.mark.parametrize(("path", "command"), EVERY, ids=NAMES)
def test_help_names_every_argument(path: tuple[str, ...], command: click.Command) -> None:
    arguments = [each for each in command.params if isinstance(each, click.Argument)]
    text = help_of(path).partition("\n")[2]
    named = [each.make_metavar(click.Context(command)).strip("[].") for each in arguments]
    assert [name for name in named if not re.search(rf"\b{name}\b", text)] == []


def test_what_a_list_says_of_a_command_is_the_first_line_of_its_help() -> None:
    groups = [command for _, command in EVERY if isinstance(command, click.Group)]
    lazy = [each for group in groups for each in group.commands.values() if isinstance(each, Lazy)]
    told = [each.get_short_help_str() for each in lazy]
    assert told == [called(each).get_short_help_str(80) for each in lazy]
    assert [each.name for each in lazy] == [called(each).name for each in lazy]
