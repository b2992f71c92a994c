"""Writes events to a case, one after the other, and says each one's id once it is acknowledged.

``python -m tests.store.writer URL CASE WHO COUNT``
"""

from __future__ import annotations

import sys

from diagnose.store.casebook import open_casebook
from diagnose.story.event import Noted, told


def write(url: str, case: str, who: str, count: int) -> None:
    with open_casebook(url, patience=60) as casebook:
        for number in range(count):
            event = told(Noted(text=f"note {number} of {who}"), who)
            casebook.add(case, event)
            sys.stdout.write(f"{event.id}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    write(sys.argv[1], sys.argv[2], sys.argv[3], int(sys.argv[4]))
