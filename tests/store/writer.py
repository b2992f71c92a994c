"""A process that adds events to a case and says each one's id once it was acknowledged.

``python -m tests.store.writer URL CASE COUNT WHO``
"""

from __future__ import annotations

import sys

from diagnose.observations.entries import Noted, new_event
from diagnose.store.casebook import open_casebook


def main(url: str, case: str, count: int, who: str) -> None:
    """Add the events one at a time."""
    with open_casebook(url) as casebook:
        for number in range(count):
            event = new_event(Noted(f"{who} {number} " + "x" * 200), who)
            casebook.add(case, event)
            sys.stdout.write(event.id + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4])
