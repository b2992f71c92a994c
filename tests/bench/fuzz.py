"""Hostile inputs through the command line: no traceback, nothing that hangs or eats the memory.

Run with ``python -m tests.bench.fuzz COUNT [FIRST] [SAVED]``: inputs FIRST, FIRST + 1, and so on
(0 when left out) go through `rowfault` in a process of its own, which is ended when it hangs.
Each that fails is kept in the folder SAVED (``fuzz-failures`` when left out) with what was found.
``python -m tests.bench.fuzz again NUMBER`` shows one of them and what it prints.

What counts as a failure: exit status 70 or an exception that reached the top, more than
`LONGEST` seconds of a processor, more than `LARGEST` bytes of memory, or an output that steers a
terminal. A hundred thousand take about an hour on one core; two ranges can run beside each other.
An input was *ranked* when an answer with chances was printed; at least half should be.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import re
import resource
import shlex
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn

from click.testing import CliRunner, Result

from diagnose.ui.cli.ending import FAULT_OF_OURS
from diagnose.ui.cli.root import rowfault
from tests.bench.inputs import HERE, Given, given
from tests.ui.hostile import steering

LONGEST = 10.0
"""Seconds of a processor that one input may take, however busy the machine is."""
LARGEST = 1_000_000_000
"""Bytes of memory that the process may have while it works on one input."""
CEILING = 3_000_000_000
"""Bytes that it is given at most, so that the machine lives."""
PATIENCE = 6 * LONGEST
"""Seconds by the clock after which a process that no longer answers is ended: it waits, or hangs
where no clock reaches it."""
RENEWED = 2_000
"""After so many inputs a new process goes on, with a new casebook."""
DETAILS = re.compile(r"details are in (.*?): please report")
ANSWERED = re.compile(rb'\d %|under 1 %|over 99 %|"probability"|"chance"|so far')
STATUSES = {0, 1, 2}


@dataclass(frozen=True)
class Found:
    """What came of one input; ``fault`` is empty when nothing is wrong."""

    number: int
    family: str
    status: int
    seconds: float
    memory: int
    ranked: bool
    fault: str = ""
    trace: str = ""


class TooLongError(BaseException):
    """Raised by the timer in the midst of an input."""


def tried(one: Given, home: Path) -> Found:
    """Give the program one input, in a folder of its own, and look at what it does."""
    with tempfile.TemporaryDirectory(dir=home) as folder, standing_in(Path(folder)):
        for name, raw in one.files.items():
            path = Path(folder) / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(raw)
        forget_the_peak()
        begun = time.process_time()
        words = [word.replace(HERE, folder) for word in one.words]
        try:
            with within(LONGEST):
                result = run(words, one.typed)
        except TooLongError:
            trace = traceback.format_exc()
            fault, status, ranked = f"over {LONGEST:g} s", -1, False
        else:
            fault, trace = wrong_with(result)
            status, ranked = result.exit_code, bool(ANSWERED.search(result.stdout_bytes))
        seconds, memory = time.process_time() - begun, peak()
    if memory > LARGEST and not fault:
        fault = f"over {LARGEST / 1e9:g} GB"
    return Found(one.number, one.family, status, seconds, memory, ranked, fault, trace)


def run(words: Sequence[str], typed: str) -> Result:
    """What the command does; what is typed may hold bytes that are no text."""
    raw = typed.encode("utf-8", "surrogateescape")
    return CliRunner().invoke(rowfault, words, input=raw, prog_name="rowfault")


def wrong_with(result: Result) -> tuple[str, str]:
    """What is wrong with what a command did, in short and in full; empty when nothing is."""
    if result.exit_code == FAULT_OF_OURS:
        found = DETAILS.search(result.stderr)
        trace = Path(found[1]).read_text(encoding="utf-8") if found else result.stderr
        return f"traceback: {last_line(trace)}", trace
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        trace = "".join(traceback.format_exception(result.exception))
        return f"traceback: {last_line(trace)}", trace
    if result.exit_code not in STATUSES:
        return f"status {result.exit_code}", result.output
    steers = steering(result.stdout_bytes) | steering(result.stderr_bytes)
    return (f"prints {' '.join(sorted(steers))}", result.output) if steers else ("", "")


def last_line(trace: str) -> str:
    """What an exception is and where it was raised, without what differs from input to input."""
    places = re.findall(r'File ".*?((?:diagnose|site-packages)/[^"]*)", line (\d+)', trace)
    ours = [place for place in places if place[0].startswith("diagnose")]
    what = re.findall(r"^([\w.]+(?:Error|Exception|Exit)\b)", trace, re.MULTILINE)
    where = [":".join(each[-1]) for each in (places, ours) if each]
    return f"{what[-1] if what else 'exception'} at {', from '.join(dict.fromkeys(where))}"


@contextmanager
def standing_in(folder: Path) -> Iterator[None]:
    """What a command writes where somebody stands goes with the folder."""
    before = os.getcwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Raise `TooLongError` when it takes longer."""

    def ring(_: int, __: FrameType | None) -> NoReturn:
        raise TooLongError

    before = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def forget_the_peak() -> None:
    """Let the peak of memory begin anew, where the system can."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5")


def peak() -> int:
    """The most memory that this process had since, in bytes."""
    with suppress(OSError):
        found = re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text())
        if found:
            return int(found[1]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


# ---- many inputs, in a process that may die


def fuzzed(numbers: range, saved: Path) -> list[Found]:
    """Try every number, in one process after another."""
    found: list[Found] = []
    left = numbers
    while left:
        here, there = multiprocessing.Pipe()
        worker = multiprocessing.Process(target=work, args=(left[:RENEWED], there))
        worker.start()
        there.close()
        done = listen(here, left.start, saved, found)
        worker.kill()
        worker.join()
        left = left[done:]
    return found


def listen(here: Connection, first: int, saved: Path, found: list[Found]) -> int:
    """Gather what a process finds until it ends, or hangs; how many inputs are done with."""
    count = 0
    begun = time.perf_counter()
    while True:
        try:
            one = here.recv() if here.poll(PATIENCE) else None
        except EOFError:
            one = None
            if count and found[-1].fault.startswith("over"):
                return count  # it ended itself: what was broken off may have left things half done
        if one == "done":
            return count
        if one is None:
            number, family = first + count, given(first + count).family
            seconds = time.perf_counter() - begun
            one = Found(number, family, -9, seconds, 0, ranked=False, fault="hangs, or killed")
        found.append(one)
        count += 1
        begun = time.perf_counter()
        if one.fault:
            save(one, saved)
        if one.status == -9:
            return count
        if len(found) % 1000 == 0:
            print(f"{len(found):,} tried, {sum(bool(each.fault) for each in found)} failed")


def work(numbers: range, there: Connection) -> None:
    """Try numbers and send what is found, until all are done or one had to be broken off."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        lonely(Path(folder))
        resource.setrlimit(resource.RLIMIT_AS, (CEILING, CEILING))
        for number in numbers:
            one = tried(given(number), Path(folder))
            there.send(one)
            if one.fault.startswith("over"):
                break
        else:
            there.send("done")
    there.close()


def lonely(folder: Path) -> None:
    """Let the program keep its things in a folder that is gone afterwards."""
    (folder / "home").mkdir()
    os.environ["ROWFAULT_HOME"] = str(folder / "home")
    os.environ["XDG_CACHE_HOME"] = str(folder / "cache")
    os.environ["COLUMNS"] = "80"
    os.environ.pop("ROWFAULT_CASEBOOK", None)


def save(one: Found, folder: Path) -> None:
    """Keep a failing input and what was found."""
    folder.mkdir(parents=True, exist_ok=True)
    text = json.dumps({**asdict(one), "input": said(given(one.number))}, indent=1)
    (folder / f"{one.number}.json").write_text(text, encoding="utf-8")


def said(one: Given) -> Mapping[str, Any]:
    """An input as it can be written down."""
    files = {name: raw.decode("latin-1") for name, raw in one.files.items()}
    return {"words": list(one.words), "typed": one.typed, "files in Latin-1": files}


def told(found: Sequence[Found], seconds: float) -> None:
    """Print what came of it all."""
    ranked = sum(each.ranked for each in found)
    print(f"{len(found):,} inputs from number {found[0].number} in {seconds:.0f} s")
    print(f"ranked: {ranked:,}, which is {100 * ranked / len(found):.1f} %")
    processor = sum(each.seconds for each in found)
    print(f"on a processor: {processor:.0f} s, the longest {max(o.seconds for o in found):.2f} s")
    print(f"most memory: {max(each.memory for each in found) / 1e6:.0f} MB")
    by_family: dict[str, list[Found]] = defaultdict(list)
    for each in found:
        by_family[each.family].append(each)
    print("family        inputs  ranked  mean ms  failed")
    for family, of in sorted(by_family.items()):
        share, mean = sum(o.ranked for o in of) / len(of), sum(o.seconds for o in of) / len(of)
        failed = sum(bool(o.fault) for o in of)
        print(f"{family:<12} {len(of):>7,} {share:>6.0%} {1000 * mean:>8.1f} {failed:>7}")
    print(f"failed: {sum(bool(each.fault) for each in found):,}")
    for fault, count in Counter(each.fault for each in found if each.fault).most_common():
        numbers = [str(each.number) for each in found if each.fault == fault][:5]
        print(f"{count:>6}  {fault}  (such as {', '.join(numbers)})")


def again(number: int) -> None:
    """Show one input and what comes of it."""
    one = given(number)
    print(shlex.join(one.words), json.dumps(said(one), indent=1), sep="\n")
    with tempfile.TemporaryDirectory() as folder:
        lonely(Path(folder))
        print(tried(one, Path(folder)))


def main(words: Sequence[str]) -> int:
    """Run as the module's docstring says; 1 when something failed, or too few were ranked."""
    if words[:1] == ["again"]:
        again(int(words[1]))
        return 0
    count, first = int(words[0]), int(words[1]) if len(words) > 1 else 0
    saved = Path(words[2] if len(words) > 2 else "fuzz-failures")
    shutil.rmtree(saved, ignore_errors=True) if saved.name == "fuzz-failures" else None
    begun = time.perf_counter()
    found = fuzzed(range(first, first + count), saved)
    told(found, time.perf_counter() - begun)
    few = 2 * sum(each.ranked for each in found) < len(found)
    return int(few or any(each.fault for each in found))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
