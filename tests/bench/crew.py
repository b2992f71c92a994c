"""Many people tell one case at the same time; what comes of it is held against what they did.

``python -m tests.bench.crew URL PEOPLE EACH``, where URL is that of an empty casebook.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from diagnose.observations.entries import Opened, new_event
from diagnose.store.casebook import open_casebook
from tests.session.crew import CASE, Log, counted_once
from tests.session.member import together


def main(url: str, people: int, each: int) -> None:
    """Print what was told, and how much of it counts."""
    with tempfile.TemporaryDirectory() as folder, open_casebook(url) as casebook:
        log, begun = Path(folder) / "log", time.perf_counter()
        casebook.begin(new_event(Opened(case=CASE, machine="mounted-6"), "Ann"))
        complaints = together(url, log, people, each)
        assert complaints == [], complaints
        events = casebook.events(CASE)
        state = counted_once(events, Log(log))
        counts = len(state.case.runs) + len(state.case.readings) + len(state.case.work)
        placed = sum(bool(event.before) for event in events)
        seconds = time.perf_counter() - begun
        sys.stdout.write(
            f"{people} people, {people * each} answers in {seconds:.0f} s: {len(events)} events, "
            f"{placed} placed earlier, {counts} things done, each counted once, in its epoch\n"
        )


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
