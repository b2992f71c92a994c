"""The command as a process of its own: what it imports, pipes, odd terminals."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = ("numpy", "networkx", "durable", "pydantic", "rich", "yaml")


def process(words: list[str], **env: str) -> subprocess.CompletedProcess[bytes]:
    """Run the command in a fresh interpreter."""
    return subprocess.run(
        [sys.executable, *words], capture_output=True, env={**os.environ, **env}, check=False
    )


@pytest.mark.parametrize("option", ["--help", "--version"])
def test_nothing_heavy_is_imported_to_say_what_there_is(option: str) -> None:
    finished = process(["-X", "importtime", "-m", "diagnose", option])
    imported = {line.rpartition(b"|")[2].strip().decode() for line in finished.stderr.splitlines()}
    assert (finished.returncode, imported & set(HEAVY)) == (0, set())


def imported(*words: str, **env: str) -> set[str]:
    """The modules that a command imports, each without what is inside it."""
    told = process(["-X", "importtime", "-m", "diagnose", *words], **env).stderr.decode()
    lines = [line for line in told.splitlines() if line.startswith("import time:")]
    return {line.rpartition("|")[2].strip() for line in lines}


def test_what_reads_files_and_builds_machines_is_imported_only_once(tmp_path: Path) -> None:
    line = ("rank", "mounted-6", "response=PPPPPF")
    slow = {"networkx", "yaml", "diagnose.machine.assemble", "diagnose.knowledge.reading"}
    cold, warm = (imported(*line, XDG_CACHE_HOME=str(tmp_path)) for _ in range(2))
    assert (cold & slow, warm & slow) == (slow, set())


def test_an_ascii_terminal_gets_ascii() -> None:
    finished = process(["-m", "diagnose", "machine", "show", "mounted-6"], PYTHONIOENCODING="ascii")
    assert b"`- section-1: hose > manifold > rows 1-6" in finished.stdout


@pytest.mark.slow
def test_a_pipe_that_closes_early_is_quiet() -> None:
    words = [sys.executable, "-m", "diagnose", "explain", "valve"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdout is not None
        running.stdout.close()
        assert running.stderr is not None
        assert running.stderr.read() == b""


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
@pytest.mark.parametrize("line", ["--help", "--version", "rank --help", "machine list"])
def test_an_output_that_is_full_is_told(line: str) -> None:
    with open("/dev/full", "wb") as full:
        words = [sys.executable, "-m", "diagnose", *line.split()]
        ended = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, check=False)
    assert (ended.returncode, ended.stderr) == (1, b"Error: No space left on device\n")


@pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")
@pytest.mark.parametrize("line", ["--help", "--version", "machine list"])
def test_an_output_that_is_closed_is_told(line: str) -> None:
    ended = process(["-c", f"import os; os.system('{sys.executable} -m diagnose {line} >&-')"])
    told = b"Error: expected somewhere to print to, got a closed standard output\n"
    assert (ended.stdout, ended.stderr) == (b"", told)


def test_an_interrupt_while_the_program_starts_is_quiet() -> None:
    code = (
        "import sys\n"
        "class Interrupted:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'click': raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Interrupted())\n"
        "from diagnose.__main__ import main\n"
        "main()\n"
    )
    ended = process(["-c", code])
    assert (ended.returncode, ended.stderr) == (130, b"")
