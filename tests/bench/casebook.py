"""How long a casebook of many closed cases takes to list, to search, and to learn from.

``python -m tests.bench.casebook [CASES [URL]]``: each line is the slowest of three turns, the
first of which has everything to load. Without a URL it is a new file of SQLite.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from diagnose.observations.entries import Concluded, Noted, Opened, new_event
from diagnose.observations.events import Run
from diagnose.store.casebook import Casebook, open_casebook
from diagnose.store.entry import Wanted
from diagnose.ui.cli.learn import show_lesson
from tests.learning.fleets import Closed, fleet

AT = datetime(2026, 3, 1, tzinfo=UTC)
NOTES = ("hose chafed", "cab was cold", "pins bent in the connector", "mud on the manifold")
TURNS = 3


def put(casebook: Casebook, number: int, case: Closed, rows: int) -> None:
    """A case that was opened, checked, noted on and closed."""
    id = f"20260301-{case.machine}-{number}"
    at = AT + timedelta(minutes=10 * number)
    opened = new_event(Opened(case=id, machine=case.machine, title=f"invented {number}"), "Ann", at)
    run = new_event(Run.of("response", "F" + "P" * (rows - 1)), "Ann", at)
    note = new_event(Noted(NOTES[number % len(NOTES)]), "Ben", at)
    ended = new_event(Concluded(outcome="proven", causes=case.causes), "Ann", at)
    casebook.merge([opened, run, note, ended])


def slowest(act: Callable[[], object]) -> float:
    """Seconds of the slowest turn."""
    spent = []
    for _ in range(TURNS):
        start = time.perf_counter()
        act()
        spent.append(time.perf_counter() - start)
    return max(spent)


def learned(casebook: Casebook) -> None:
    """Read every closed case and show what it teaches."""
    with contextlib.redirect_stdout(io.StringIO()):
        show_lesson(casebook.entries(Wanted(open=False)), as_json=False)


def main(cases: int, url: str | None) -> None:
    """Fill a casebook and time what is done with it."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["ROWFAULT_HOME"] = folder
        with open_casebook(url or f"sqlite:///{Path(folder) / 'cases.sqlite'}") as casebook:
            start = time.perf_counter()
            for number, case in enumerate(fleet(cases, np.random.default_rng(0))):
                put(casebook, number, case, int(case.machine.rpartition("-")[2]))
            filled = (time.perf_counter() - start) / cases
            print(f"{cases} closed cases; {1e3 * filled:.1f} ms to put one in")
            acts: dict[str, Callable[[], object]] = {
                "list all": casebook.entries,
                "list one page": lambda: casebook.entries(Wanted(limit=50)),
                "by cause and day": lambda: casebook.entries(
                    Wanted(cause="coil_open", since=date(2026, 3, 20))
                ),
                "search": lambda: casebook.entries(Wanted(text="connector bent")),
                "search and page": lambda: casebook.entries(Wanted(text="invented 77", limit=50)),
                "learn and show": lambda: learned(casebook),
            }
            for name, act in acts.items():
                print(f"{name:<18} {slowest(act):.3f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000, sys.argv[2] if sys.argv[2:] else None)
