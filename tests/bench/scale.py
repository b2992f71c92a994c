"""Time and memory of a whole ranking with the best next test, from 48 to 480 rows.

Run with ``OPENBLAS_NUM_THREADS=1 python -m tests.bench.scale``, for the command, too, multiplies
in one thread. Memory is the peak resident size of the whole command
in a process of its own; reading the machine and the rules is not part of the times.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import tracemalloc
from pathlib import Path

from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.evidence import Evidence
from diagnose.planner.offers import next_tests
from tests.bench.generated import write_layout
from tests.bench.posterior import median
from tests.inference.cases import PATTERNS, failed_rows, ranking, typed

ROWS = (48, 96, 192, 480)


def work(evidence: Evidence) -> None:
    """Everything after the rules: causes, groups and the best of all candidate tests."""
    fresh = Ranking(Evidence(evidence.model, evidence.case, evidence.findings))
    _ = fresh.causes
    next_tests(fresh)


def peak(evidence: Evidence) -> float:
    """Peak megabytes that `work` has allocated at a time."""
    tracemalloc.start()
    work(evidence)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most / 1e6


def in_process(machine: str, rows: int, pattern: str) -> float:
    """Print and give the median seconds of a ranking with its best next test."""
    evidence = ranking(machine, typed(rows, failed_rows(machine, pattern))).evidence
    seconds = median(lambda: work(evidence))
    name = Path(machine).stem
    print(
        f"{name:<14} {pattern:<10} {seconds * 1e3:8.1f} ms   {peak(evidence):7.1f} MB", flush=True
    )
    return seconds


def command_memory(machine: str, arguments: list[str]) -> float:
    """Peak resident megabytes of the whole command."""
    script = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True, "
        "stdout=subprocess.DEVNULL); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    command = [sys.executable, "-c", script, sys.executable, "-m", "diagnose", "rank", machine]
    done = subprocess.run([*command, *arguments], check=True, capture_output=True, text=True)
    unit = 1e6 if sys.platform == "darwin" else 1e3
    return int(done.stdout) / unit


def main() -> None:
    """Shipped 48 rows, then growth, then memory of the command."""
    for pattern in PATTERNS:
        in_process("folding-48", 48, pattern)
    with tempfile.TemporaryDirectory() as folder:
        layouts = {rows: str(write_layout(Path(folder), rows)) for rows in ROWS}
        for pattern in PATTERNS:
            times = {rows: in_process(layouts[rows], rows, pattern) for rows in ROWS}
            print(f"  {pattern}: 48 to 480 rows costs x{times[480] / times[48]:.1f}")
        for rows, pattern in ((r, p) for r in (48, 480) for p in PATTERNS):
            bad = failed_rows(layouts[rows], pattern)
            used = command_memory(layouts[rows], typed(rows, bad))
            print(f"command, {rows} rows, {pattern}: peak {used:.0f} MB", flush=True)
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"(this script itself: {own / 1e3:.0f} MB)")


if __name__ == "__main__":
    main()
