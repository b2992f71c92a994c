"""A process that is one of several people at work on a case.

``python -m tests.session.member URL LOG WHO COUNT PEOPLE``
"""

from __future__ import annotations

import random
import subprocess
import sys
import time
from pathlib import Path

from diagnose.store.casebook import open_casebook
from tests.session.crew import Log, Person

ROOT = Path(__file__).resolve().parents[2]


def main(url: str, log: Path, who: str, count: int, people: int) -> None:
    """Look, do and tell, so many times, with pauses in which others are quicker."""
    rng = random.Random(who)
    with open_casebook(url) as casebook:
        until_all_are_here(log.with_suffix(".here"), people)
        person = Person(who, Log(log), casebook, rng)
        for _ in range(count):
            for step in (person.look, person.act, person.tell):
                step()
                time.sleep(rng.random() * 0.02)


def until_all_are_here(file: Path, people: int) -> None:
    """Wait until so many have come."""
    with file.open("a", encoding="utf-8") as here:
        here.write(".")
    until = time.monotonic() + 300
    while file.stat().st_size < people and time.monotonic() < until:
        time.sleep(0.01)


def together(url: str, log: Path, people: int, each: int) -> list[str]:
    """Let so many people work on the case at the same time; what went wrong with any of them."""
    command = [sys.executable, "-m", "tests.session.member", url, str(log)]
    at_work = [
        subprocess.Popen(
            [*command, f"p{n}", str(each), str(people)], cwd=ROOT, stderr=subprocess.PIPE, text=True
        )
        for n in range(people)
    ]
    said = [(process.communicate(timeout=1800)[1], process.returncode) for process in at_work]
    return [complaint for complaint, status in said if status]


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), sys.argv[3], int(sys.argv[4]), int(sys.argv[5]))
