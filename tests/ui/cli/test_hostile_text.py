"""No text of a user steers a terminal, whichever command prints it and wherever it came from."""

from __future__ import annotations

import json
import re
import subprocess
import sys

import pytest
import yaml
from click.testing import CliRunner, Result

from diagnose.ui.cli.root import rowfault
from tests.ui.hostile import EVERYTHING, commands, home_in, steering

STYLE = re.compile(rb"\x1b\[[0-9;]*m")
"""A color or weight, which the program itself prints on a terminal."""
TITLE = "evil \u202e\u2066\u2028"
"""The worst title and name that a case can have."""
ANSWERS = f"response=PPPPPF oil=54C engine=on\nnote rubs {TITLE}\n{EVERYTHING}\n"
LINES = [
    "rank evil response=PPPPPF",
    "rank evil response=PPPPPF --json",
    "plan evil response=PPPPPF --depth 1",
    "plan evil response=PPPPPF --depth 1 --json",
    "plan evil response=PPPPPF --depth 1 --dot",
    "work evil --scratch --answers ANSWERS",
    "drill evil --level 1 --seed 1 --answers ANSWERS",
    "drill --progress --who WHO",
    "drill --progress --json --who WHO",
    "ready evil",
    "ready evil --json",
    "ready evil -o -  --format md",
    "ready evil -o OUT.html",
    "report last -o - --format html --who WHO",
    "report last -o - --format md --who WHO",
    "report last -o - --format json --who WHO",
    "report last -o OUT.md --who WHO",
    "cases list",
    "cases list --json",
    "cases show last --who WHO",
    "cases show last --json --who WHO",
    "cases export last --to OUT --who WHO",
    "cases check",
    "cases learn",
    "cases read swapped-coil --all",
    "machine list",
    "machine list --json",
    "machine show evil",
    "machine show evil --json",
    "rules list",
    "rules list --json",
    "explain evil",
    "explain evil --json",
    "explain WHO",
    "schema",
    "manual OUT-manual",
    "completion bash",
]
COUNTING = ("cases", "coverage")
"""The one that is not tried: it takes long, and prints ids of the data only."""
REFUSED = [
    "rank evil response=PPPPPF evil\x1b[2J",
    "report OUT.yaml -o OUT",
    "cases import BAD",
    "cases reopen last --reason WHO --who WHO",
    "cases read WHO",
    "machine check BAD",
    "rules check",
    "rules check BAD",
    "schema WHO",
    "manual BAD",
]


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """By the word that stands for it, what is hostile: a home with a case, and names of files."""
    folder = tmp_path_factory.mktemp("evil")
    answers, bad = folder / "answers", folder / f"bad{EVERYTHING.replace('/', '')}.yaml"
    answers.write_text(ANSWERS, encoding="utf-8")
    bad.write_text(yaml.safe_dump({"machine": EVERYTHING, EVERYTHING: EVERYTHING}))
    names = {"ANSWERS": str(answers), "BAD": str(bad), "WHO": TITLE, "HOME": str(home_in(folder))}
    words = ["work", "evil", "--title", TITLE, "--who", TITLE, "--answers", str(answers)]
    run(words, names)
    return names | {"OUT": str(folder / f"out{EVERYTHING}\udcff")}


def run(words: list[str], places: dict[str, str], **env: str) -> Result:
    homes = {"ROWFAULT_HOME": places["HOME"], "ROWFAULT_CASEBOOK": None}
    return CliRunner(env=homes | env).invoke(rowfault, words, prog_name="rowfault")


def filled(line: str, places: dict[str, str]) -> list[str]:
    """The words of a line, with those that stand for something hostile filled in."""
    words = line.split(" ")
    for name, text in places.items():
        words = [word.replace(name, text) for word in words]
    return [word for word in words if word]


@pytest.mark.slow
@pytest.mark.parametrize("line", LINES + REFUSED)
def test_nothing_that_is_printed_steers_a_terminal(line: str, places: dict[str, str]) -> None:
    result = run(filled(line, places), places)
    assert result.exit_code in ((1, 2) if line in REFUSED else (0,)), result.stderr
    assert (steering(result.stdout_bytes), steering(result.stderr_bytes)) == (set(), set())
    if "json" in line:
        assert json.loads(result.stdout)["schema"].startswith("rowfault/")
        assert result.stdout.isascii()


@pytest.mark.parametrize(
    "line", [line for line in LINES if not {"-o", "--json", "manual"} & {*line.split()}]
)
def test_on_a_terminal_only_the_programs_own_styles_come_through(
    line: str, places: dict[str, str]
) -> None:
    colored = run(filled(line, places), places, FORCE_COLOR="1", COLORTERM="truecolor")
    for output in (colored.stdout_bytes, colored.stderr_bytes):
        assert steering(STYLE.sub(b"", output)) == set()


def test_every_command_is_tried() -> None:
    tried = {tuple(line.split()[:2]) for line in [*LINES, *REFUSED]} | {COUNTING}
    missing = [words for words, _ in commands() if not any(t[: len(words)] == words for t in tried)]
    assert missing == []


def test_what_a_person_wrote_can_still_be_read(places: dict[str, str]) -> None:
    assert r"evil \x1b[2J\x1b]0;mine\x07\x9b31m" in run(["machine", "list"], places).stdout
    assert r"evil \u202e" in run(["cases", "list"], places).stdout


def test_an_ascii_terminal_is_guarded_too(places: dict[str, str]) -> None:
    words = [sys.executable, "-m", "diagnose", "--nonsense\x1b[2J"]
    for encoding in ("ascii", "utf-8", "latin-1"):
        ended = subprocess.run(
            words, capture_output=True, env={"PYTHONIOENCODING": encoding}, check=False
        )
        assert (ended.returncode, b"\x1b" in ended.stderr) == (2, False)
