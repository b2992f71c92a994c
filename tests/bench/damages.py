"""Thousands of damages of a casebook and of archives: no traceback, nothing silently different.

``python -m tests.bench.damages [CASEBOOKS [ARCHIVES [FIRST]]]``: so many of each, with the seeds
that begin at FIRST. The exit status says whether anything was wrong.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path

from diagnose.knowledge.base import load_knowledge
from tests.store import older
from tests.store.damage import archive_trial, seen, sound, trial


def told(what: str, found: Iterable[str | None], many: int) -> int:
    """Print what was wrong as it is found; how much that was."""
    start, wrong = time.monotonic(), 0
    for each in filter(None, found):
        wrong += 1
        print(each, flush=True)
    print(f"{many} damages of {what}: {wrong} wrong, {time.monotonic() - start:.0f} s", flush=True)
    return wrong


def main(casebooks: int, archives: int, first: int) -> int:
    """Damage so many of each; the exit status."""
    with tempfile.TemporaryDirectory() as folder:
        file = sound(Path(folder))
        before, seeds = seen(file), range(first, first + casebooks)
        wrong = told("a casebook", (trial(file, before, seed) for seed in seeds), casebooks)
    knowledge, stories = load_knowledge(), (older.proven(), older.handed_over())
    seeds = range(first, first + archives)
    found = (archive_trial(stories[seed % 2], knowledge, seed) for seed in seeds)
    return bool(wrong + told("an archive", found, archives))


if __name__ == "__main__":
    casebooks, archives, first, *_ = [*map(int, sys.argv[1:]), *(600, 600, 0)[len(sys.argv) - 1 :]]
    sys.exit(main(casebooks, archives, first))
