"""README.md shows what the program really prints, and gives the test command that CI runs.

``python -m tests.test_readme`` writes the outputs anew. Nothing of whoever runs it is read: the
tour has a folder of its own, with the drills of an apprentice who is invented.
"""

from __future__ import annotations

import doctest
import re
import shlex
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from diagnose.drill.record import Finished, Opportunity
from diagnose.faces.commands.root import rowfault
from diagnose.store.casebook import open_casebook

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
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


def printed(command: str) -> str:
    """What a command of the README prints, or its last lines, without spaces at line ends."""
    command, _, last = command.partition(" | tail -n ")
    with tempfile.TemporaryDirectory() as home:
        drilled(Path(home))
        env = {"COLUMNS": "80", "ROWFAULT_HOME": home, "ROWFAULT_CASEBOOK": None}
        result = CliRunner().invoke(rowfault, shlex.split(command)[1:], env=env)
    assert result.exit_code == 0, result.output
    lines = [line.rstrip() for line in result.output.splitlines()]
    return "\n".join(lines[-int(last) :] if last else lines) + "\n"


@pytest.mark.parametrize(("command", "shown"), BLOCK.findall(README.read_text(encoding="utf-8")))
def test_the_tour_shows_what_is_printed(
    command: str, shown: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    assert shown == printed(command)


def test_the_python_of_the_readme_runs() -> None:
    parser = doctest.DocTestParser()
    test = parser.get_doctest(README.read_text(encoding="utf-8"), {}, "README", str(README), 0)
    runner = doctest.DocTestRunner()
    runner.run(test)
    assert runner.summarize().failed == 0
    assert runner.tries > 0


def test_ci_runs_the_test_command_of_the_readme() -> None:
    shell = re.search(r"```sh\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    assert shell is not None
    *_, test_command = shell[1].strip().splitlines()
    assert f"\n  {test_command}\n" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_the_job_comes_first() -> None:
    first = README.read_text(encoding="utf-8").split("\n\n")[1]
    assert first.startswith("Downforce on a row-crop planter is hydraulic.")


if __name__ == "__main__":
    text = README.read_text(encoding="utf-8")
    README.write_text(
        BLOCK.sub(lambda found: f"```console\n$ {found[1]}\n{printed(found[1])}```", text),
        encoding="utf-8",
    )
