"""Every example of the manual runs, and prints what the manual says."""

from __future__ import annotations

import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from diagnose.training.worked_cases import worked_cases
from diagnose.ui.cli.root import rowfault
from tests.console import GUIDES, ROOT, examples, printed
from tests.ui.manual.catalogued import CATALOGUE

SHOWN = [(page.stem, *example) for page in GUIDES for example in examples(page)]
HELPED = [
    line.strip()
    for page in CATALOGUE.of("command")
    for line in page.text.partition("Example:")[2].partition("##")[0].splitlines()
    if line.strip().startswith("rowfault")
]
RULED = {
    page.id: line.strip()
    for page in CATALOGUE.of("rule")
    for line in reversed(page.text.splitlines())
    if line.startswith("    rowfault ")
}
"""By rule, the first example on its page."""


@pytest.mark.slow
@pytest.mark.parametrize(("page", "command", "shown"), SHOWN)
def test_a_guide_shows_what_is_printed(
    page: str, command: str, shown: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    assert shown == printed(command)


def test_guides_and_help_are_full_of_examples() -> None:
    pages = {page for page, *_ in SHOWN}
    assert pages == {"tutorial", "technician", "dealer-support", "apprentice"}
    assert len(HELPED) >= len(CATALOGUE.of("command"))


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with all that the examples of help take for granted."""
    folder = tmp_path_factory.mktemp("furnished")
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("ROWFAULT_HOME", str(folder))
        patched.chdir(folder)
        shutil.copy(ROOT / "graphs" / "machines" / "mounted-6.yaml", "mine.yaml")
        Path("my-rules").mkdir()
        rule = (ROOT / "rules" / "patterns" / "everything.yaml").read_text(encoding="utf-8")
        Path("my-rules/mine.yaml").write_text(rule.replace("id: everything\n", "id: mine\n"))
        answers = ROOT / "casebook" / "answers" / "swapped-coil.txt"
        ran("rowfault work mounted-12 --answers", str(answers))
        ran("rowfault cases export last --to cases")
        (only,) = Path("cases").iterdir()
        only.rename("cases/20260301-mounted-12-5e1c09.yaml")
    return folder


def ran(command: str, *more: str) -> str:
    """What a command says when it does not end well; whatever asks is told to quit."""
    words = [*shlex.split(command.partition(" >> ")[0])[1:], *more]
    result = CliRunner().invoke(rowfault, words, input="quit\n" * 20)
    return "" if result.exit_code == 0 else result.output


@pytest.mark.slow
@pytest.mark.parametrize("command", HELPED)
def test_an_example_of_help_runs(
    command: str, furnished: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if command == "rowfault cases coverage":
        few = worked_cases()[:2]  # All of them take long, and are counted with the cases.
        monkeypatch.setattr("diagnose.ui.cli.lessons.worked_cases", lambda: few)
    home = tmp_path / "home"
    shutil.copytree(furnished, home)
    monkeypatch.setenv("ROWFAULT_HOME", str(home))
    monkeypatch.chdir(home)
    assert ran(command) == ""


@pytest.mark.slow
@pytest.mark.parametrize(("rule", "command"), RULED.items())
def test_the_first_example_of_a_rule_runs(rule: str, command: str) -> None:
    """What every example of a rule comes to is tested with the rules."""
    assert ran(f"{command} --next 0") == ""
