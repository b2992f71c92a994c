"""Text that tries to steer a terminal, a home full of it, and what tells that it came through."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from pathlib import Path

import click
import yaml

from diagnose.knowledge.base import load_knowledge
from diagnose.paths import shipped
from diagnose.ui.cli.root import rowfault
from diagnose.ui.lazy import called

MARKS = {
    "escape": "\x1b[2J",
    "title": "\x1b]0;mine\x07",
    "C1": "\x9b31m",
    "back": "\x08\x08",
    "delete": "\x7f",
    "return": "\rok",
    "override": "\u202e",
    "isolate": "\u2066",
    "separator": "\u2028",
}
"""What no terminal may get from a user's text."""
HALF = "\udcff"
"""How a byte that is no text arrives from a command line."""
EVERYTHING = "evil " + "".join(MARKS.values())


def steering(output: bytes) -> set[str]:
    """The marks of an output that are not for a terminal; raises for what is no UTF-8."""
    sorts = ("Cc", "Cf", "Cs", "Co", "Zl", "Zp")
    text = output.decode("utf-8")
    return {ascii(sign) for sign in text if unicodedata.category(sign) in sorts} - {
        r"'\n'",
        r"'\t'",
    }


def commands(
    group: click.Group = rowfault, above: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Every command that does something, with its words."""
    for name, each in group.commands.items():
        command = called(each)
        if isinstance(command, click.Group):
            yield from commands(command, (*above, name))
        else:
            yield (*above, name), command


def home_in(folder: Path) -> Path:
    """A user's folder whose layout and rule are hostile; the layout is called evil."""
    layout = yaml.safe_load(load_knowledge().layouts["mounted-6"].read_text(encoding="utf-8"))
    _write(folder / "graphs/machines/evil.yaml", layout | {"id": "evil", "name": EVERYTHING})
    rule = yaml.safe_load((shipped().rules / "patterns/one-row-alone.yaml").read_text("utf-8"))
    _write(folder / "rules/patterns/evil.yaml", rule | {"id": "evil", "says": EVERYTHING})
    return folder


def _write(path: Path, data: dict[str, object]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(yaml.safe_dump(data, sort_keys=False), encoding="utf-8")
