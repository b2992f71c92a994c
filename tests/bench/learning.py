"""How long learning from many closed cases takes, from the casebook to the printed lesson.

``python -m tests.bench.learning [CASES]``
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from diagnose.faces.learning import show_lesson
from diagnose.store.casebook import Casebook, open_casebook
from diagnose.story.event import Concluded, Opened, told
from tests.learning.fleets import Closed, fleet

AT = datetime(2026, 3, 1, tzinfo=UTC)


def put(casebook: Casebook, number: int, case: Closed) -> None:
    """A case that was opened and closed."""
    id = f"20260301-{case.machine}-{number}"
    opened = told(Opened(case=id, machine=case.machine), "A. Helper", AT)
    ended = told(Concluded(outcome="proven", causes=case.causes), "A. Helper", AT)
    casebook.merge([opened, ended])


def main(cases: int) -> None:
    """Fill a casebook and learn from it three times, the first time with everything to load."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["ROWFAULT_HOME"] = folder
        with open_casebook(f"sqlite:///{Path(folder) / 'cases.sqlite'}") as casebook:
            for number, case in enumerate(fleet(cases, np.random.default_rng(0))):
                put(casebook, number, case)
            for turn in range(3):
                start = time.perf_counter()
                entries = casebook.entries()
                read = time.perf_counter()
                with contextlib.redirect_stdout(io.StringIO()):
                    show_lesson(entries, as_json=False)
                done = time.perf_counter()
                print(
                    f"{turn + 1}: {cases} closed cases, read {read - start:.3f} s, "
                    f"learn and show {done - read:.3f} s"
                )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
