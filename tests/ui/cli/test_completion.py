"""A shell that asks gets machines, checks, circumstances, readings and ids."""

from __future__ import annotations

import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner

from diagnose.ui.cli.root import rowfault


def offered(line: str) -> list[str]:
    """What a shell that cuts at blanks only is offered for the last word of the line."""
    *before, typed = line.split(" ")
    items = ShellComplete(rowfault, {}, "rowfault", "ASKED").get_completions(before, typed)
    return [item.value for item in items]


def bash(line: str) -> list[str]:
    """What bash, which cuts at = : and @ too, is told to put in."""
    words = line.split(" ")
    asked = {"_ROWFAULT_COMPLETE": "bash_complete", "COMP_WORDS": "\n".join(words)}
    env = {**asked, "COMP_CWORD": str(len(words) - 1)}
    result = CliRunner().invoke(rowfault, [], prog_name="rowfault", env=env)
    return [line.partition(",")[2] for line in result.output.split()]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("ra", ["rank"]),
        ("machine s", ["show"]),
        ("rank mounted", ["mounted-12", "mounted-6"]),
        ("machine show mounted", ["mounted-12", "mounted-6"]),
        ("rank mounted-6 respo", ["response="]),
        ("rank mounted-6 engine=", ["engine=on", "engine=off"]),
        ("rank mounted-6 bleed=PPPPPP oil", ["oil="]),
        ("rank mounted-6 coil-resistance@row-2", ["coil-resistance@row-2/valve="]),
        ("explain valve:coil", ["valve:coil_open", "valve:coil_shorted"]),
        ("rank mounted-6 --no", ["--no-colour"]),
        ("rank --file casebook/two-far-rows.yaml respo", ["response="]),
        ("rank --file casebook/two-far-rows.yaml mounted-6 respo", ["response="]),
        (
            "rank --file casebook/two-far-rows.yaml coil-resistance@row-24",
            ["coil-resistance@row-24/valve="],
        ),
        ("rank --file no-such.yaml coil-resistance@row-2", []),
        ("rules list --group co", ["context", "contradictions"]),
        ("rank nonsense look-leak@", []),
    ],
)
def test_words_are_completed(line: str, words: list[str]) -> None:
    assert offered(line) == words


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("rowfault rank mounted-6 engine = o", ["on", "off"]),
        ("rowfault rank mounted-6 engine =", ["on", "off"]),
        ("rowfault rank mounted-6 coil-resistance @ row-2", ["row-2/valve="]),
        ("rowfault explain valve : coil", ["coil_open", "coil_shorted"]),
        ("rowfault rank mounted", ["mounted-12", "mounted-6"]),
    ],
)
def test_bash_gets_only_what_follows_its_own_cut(line: str, words: list[str]) -> None:
    assert bash(line) == words
