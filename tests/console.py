"""Examples in written pages: what they show is what the program prints.

``python -m tests.console`` writes the outputs in README.md and in the guides of the manual anew.
"""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path

from click.testing import CliRunner

from diagnose.faces.commands.root import rowfault

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
GUIDES = sorted((ROOT / "diagnose" / "faces" / "manual" / "guides").glob("*.md"))
BLOCK = re.compile(r"```console\n\$ (rowfault [^\n]+)\n(.*?)```", re.DOTALL)


def examples(page: Path) -> list[tuple[str, str]]:
    """Every command of a page and what the page says that it prints."""
    return BLOCK.findall(page.read_text(encoding="utf-8"))


def printed(command: str) -> str:
    """What a command prints, or its first or last lines, without spaces at line ends."""
    command, _, last = command.partition(" | tail -n ")
    command, _, first = command.partition(" | head -n ")
    result = CliRunner().invoke(rowfault, shlex.split(command)[1:], env={"COLUMNS": "80"})
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
