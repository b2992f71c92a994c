"""README.md shows what the program really prints, and gives the test command that CI runs.

``python -m tests.test_readme`` writes the outputs anew.
"""

from __future__ import annotations

import doctest
import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from diagnose.faces.commands.root import rowfault

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
BLOCK = re.compile(r"```console\n\$ (rowfault [^\n]+)\n(.*?)```", re.DOTALL)


def printed(command: str) -> str:
    """What a command of the README prints, or its last lines, without spaces at line ends."""
    command, _, last = command.partition(" | tail -n ")
    result = CliRunner().invoke(rowfault, shlex.split(command)[1:], env={"COLUMNS": "80"})
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
