"""README.md shows what the program really prints, and gives the test command that CI runs."""

from __future__ import annotations

import doctest
import re

import pytest

from tests.console import README, ROOT, examples, printed


@pytest.mark.slow
@pytest.mark.parametrize(("command", "shown"), examples(README))
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
