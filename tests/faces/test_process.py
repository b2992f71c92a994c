"""The command as a process of its own: what it imports, pipes, odd terminals."""

from __future__ import annotations

import os
import subprocess
import sys

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


def test_an_ascii_terminal_gets_ascii() -> None:
    finished = process(["-m", "diagnose", "machine", "show", "mounted-6"], PYTHONIOENCODING="ascii")
    assert b"`- section-1: hose > manifold > rows 1-6" in finished.stdout


def test_a_pipe_that_closes_early_is_quiet() -> None:
    words = [sys.executable, "-m", "diagnose", "explain", "valve"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdout is not None
        running.stdout.close()
        assert running.stderr is not None
        assert running.stderr.read() == b""
