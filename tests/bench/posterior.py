"""Our posterior against pyAgrum's on the same networks, building included on both sides.

Run with ``python -m tests.bench.posterior``. Each (encoding, engine) of pyAgrum runs in a process
of its own with a limit of time; the best one counts. All encodings meet the first engine, the
other engines then the best encoding. Where none answers, the limit counts as its time: a lower
bound of the ratio, marked as such.
"""

from __future__ import annotations

import multiprocessing as mp
import statistics
import time
from collections.abc import Callable
from itertools import product

import numpy as np

from diagnose.arrays import Floats
from diagnose.inference import posterior
from diagnose.inference.network import Network
from tests.inference.agrum import ENCODINGS, Agrum, Encoding, TooLarge
from tests.inference.cases import PATTERNS, network

MACHINES = ("mounted-12", "folding-24", "folding-48")
ENGINES = ("LazyPropagation", "ShaferShenoyInference", "VariableElimination")
LIMIT = 10.0
"""Seconds that one encoding and engine may take."""


def median(work: Callable[[], object], most: int = 9, seconds: float = 2.0) -> float:
    """Median seconds of a few runs after one to warm up."""
    begun = time.perf_counter()
    work()
    times: list[float] = []
    while len(times) < most and (not times or time.perf_counter() - begun < seconds):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def _timed(one: Network, encoding: Encoding, engine: str, out: mp.Queue[object]) -> None:
    spare = posterior(one).log_evidence + np.log(1e-12)

    def run() -> tuple[float, Floats]:
        return Agrum(one, encoding, spare).answer(engine)

    try:
        out.put((run()[1], median(run)))
    except (TooLarge, RuntimeError, MemoryError) as why:
        out.put(str(why) or type(why).__name__)


def attempt(one: Network, encoding: Encoding, engine: str) -> tuple[Floats, float] | str:
    """Marginals and median seconds, or why there are none."""
    out: mp.Queue[object] = mp.Queue()
    worker = mp.Process(target=_timed, args=(one, encoding, engine, out))
    worker.start()
    try:
        found = out.get(timeout=LIMIT)
    except Exception:
        worker.terminate()
        found = f"no answer in {LIMIT:.0f} s"
    worker.join()
    return found  # type: ignore[return-value]


def compare(machine: str, pattern: str) -> tuple[float, float]:
    """Print one line; the ratio of times and the largest difference."""
    one = network(machine, pattern)
    ours, flat = median(lambda: posterior(one), 15), posterior(one).flat
    tried = {(str(e), ENGINES[0]): attempt(one, e, ENGINES[0]) for e in ENCODINGS}
    finished = {key: found[1] for key, found in tried.items() if not isinstance(found, str)}
    if finished:
        best_encoding = min(finished, key=lambda key: finished[key])[0]
        encoding = next(e for e in ENCODINGS if str(e) == best_encoding)
        tried |= {(best_encoding, name): attempt(one, encoding, name) for name in ENGINES[1:]}
    done = {key: found for key, found in tried.items() if not isinstance(found, str)}
    label = f"{machine:<11} {pattern:<10} ours {ours * 1e3:7.2f} ms"
    if not done:
        why = sorted({str(found) for found in tried.values()})
        print(f"{label}   pyAgrum: {why}   more than x{LIMIT / ours:.0f}", flush=True)
        return LIMIT / ours, np.nan
    best = min(done, key=lambda key: done[key][1])
    error = max(float(np.abs(found - flat).max()) for found, _ in done.values())
    ratio = done[best][1] / ours
    print(
        f"{label}   pyAgrum {done[best][1] * 1e3:8.1f} ms ({', '.join(best)}; "
        f"{len(done)} of {len(tried)} finished)   x{ratio:.1f}   error {error:.0e}",
        flush=True,
    )
    return ratio, error


def main() -> None:
    """Compare on every machine and pattern."""
    found = [compare(machine, pattern) for machine, pattern in product(MACHINES, PATTERNS)]
    every = np.array(found)
    answered = every[np.isfinite(every[:, 1])]
    for name, some in (("all", every), ("those answered", answered)):
        mean, least = np.exp(np.log(some[:, 0]).mean()), some[:, 0].min()
        print(f"{name} ({len(some)}): geometric mean x{mean:.1f}, least x{least:.1f}")
    print(f"largest error {answered[:, 1].max():.0e}")


if __name__ == "__main__":
    main()
