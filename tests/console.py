"""Examples in written pages: what they show is what the program prints.

``python -m tests.console`` writes the outputs in README.md and in the guides of the manual anew.
Nothing of whoever runs it is read: the examples have a folder of their own, with the drills of an
apprentice who is invented.
"""

from __future__ import annotations

import os
import re
import shlex
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from click.testing import CliRunner

from diagnose.store.casebook import open_casebook
from diagnose.training.record import Finished, Opportunity
from diagnose.ui.cli.root import rowfault

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
GUIDES = sorted((ROOT / "diagnose" / "ui" / "manual" / "guides").glob("*.md"))
BLOCK = re.compile(r"```console\n\$ (rowfault [^\n]+)\n(.*?)```", re.DOTALL)


SAM = (
    (1, 71, {"patterns": "yyny", "controls": "y", "prove": "nyy"}),
    (2, 64, {"patterns": "ynyyn", "shared-first": "nyny", "prove": "yy"}),
    (3, 58, {"circumstances": "nny", "patterns": "y", "prove": "yy"}),
    (1, 83, {"patterns": "yyyy", "electric-hydraulic": "ny", "prove": "yyy"}),
)
"""Drills of an invented apprentice: level, marks, and by skill what was taken (y) or not (n)."""


def drilled(home: Path) -> None:
    """Put Sam's drills into a casebook of their own."""
    with open_casebook(f"sqlite:///{home / 'casebook.sqlite'}") as casebook:
        for day, (level, marks, skills) in enumerate(SAM):
            found = tuple(
                Opportunity(skill, move, letter == "y")
                for skill, letters in skills.items()
                for move, letter in enumerate(letters, 1)
            )
            at = datetime(2026, 3, 2, 18, tzinfo=UTC) + timedelta(days=day)
            one = Finished("sam", "", "mounted-6", level, marks, 95.0, marks > 60, found, at)
            casebook.keep_drill(one)


def examples(page: Path) -> list[tuple[str, str]]:
    """Every command of a page and what the page says that it prints."""
    return BLOCK.findall(page.read_text(encoding="utf-8"))


def printed(command: str) -> str:
    """What a command prints, or its first or last lines, without spaces at line ends."""
    command, _, last = command.partition(" | tail -n ")
    command, _, first = command.partition(" | head -n ")
    with tempfile.TemporaryDirectory() as home:
        drilled(Path(home))
        env = {"COLUMNS": "80", "ROWFAULT_HOME": home, "ROWFAULT_CASEBOOK": None}
        result = CliRunner().invoke(rowfault, shlex.split(command)[1:], env=env)
    assert result.exit_code == 0, result.output
    lines = [line.rstrip() for line in result.output.splitlines()]
    return "\n".join(lines[-int(last or len(lines)) :][: int(first or len(lines))]) + "\n"


def rewrite(page: Path) -> None:
    """Put what is printed today into a page."""
    text = page.read_text(encoding="utf-8")
    new = BLOCK.sub(lambda found: f"```console\n$ {found[1]}\n{printed(found[1])}```", text)
    page.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    os.chdir(ROOT)
    for each in (README, *GUIDES):
        rewrite(each)
