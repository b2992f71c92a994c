"""A process that is one of several people at work on a case.

``python -m tests.work.member URL LOG WHO COUNT``
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

from diagnose.store.casebook import open_casebook
from tests.work.crew import Log, Person


def main(url: str, log: Path, who: str, count: int) -> None:
    """Look, do and tell, so many times, with pauses in which others are quicker."""
    rng = random.Random(who)
    with open_casebook(url) as casebook:
        person = Person(who, Log(log), casebook, rng)
        for _ in range(count):
            for step in (person.look, person.act, person.tell):
                step()
                time.sleep(rng.random() * 0.02)


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), sys.argv[3], int(sys.argv[4]))
