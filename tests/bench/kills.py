"""Whole processes killed at random moments: nothing that they acknowledged is lost.

``python -m tests.bench.kills sqlite 1000`` kills ``rowfault work``, ``cases import`` and ``drill``
one after another, each once, on a file of SQLite. ``python -m tests.bench.kills postgresql 200``
kills by turns the program, the server's part of its connection, and the whole server, which is a
server of its own on this machine and is started again. A third number is the seed.

What counts as acknowledged: a note, when the next question is asked; an import or a drill, when
the program says that it is there. After every kill the whole chain is checked, everything that was
acknowledged must be there, and nothing may be there twice.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from threading import Timer

from diagnose.observations.archive import story_text
from diagnose.observations.entries import Noted, Opened, new_event
from diagnose.store.casebook import open_casebook
from tests.store.conftest import Server

ROOT = Path(__file__).resolve().parents[2]
FRESH = 40
"""After so many kills a new casebook is begun, so that none grows without end."""

NOTES = 6
PATIENCE = 60.0
"""Seconds after which a process that was not killed counts as hung."""


@dataclass
class Book:
    """A casebook under attack, and what was acknowledged of it."""

    url: str
    home: Path
    cases: list[str] = field(default_factory=list)
    notes: list[tuple[str, str]] = field(default_factory=list)
    drills: Counter[str] = field(default_factory=Counter)
    imports: list[tuple[str, int]] = field(default_factory=list)
    ended: list[str] = field(default_factory=list)
    lasted: dict[str, float] = field(default_factory=dict)

    def rowfault(self, *words: str) -> subprocess.Popen[bytes]:
        """Begin the program."""
        variables = {**os.environ, "ROWFAULT_HOME": str(self.home), "ROWFAULT_CASEBOOK": self.url}
        return subprocess.Popen(
            [sys.executable, "-m", "diagnose", *words],
            cwd=ROOT,
            env=variables,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )

    def wrong(self) -> list[str]:
        """What was lost, doubled or damaged."""
        with open_casebook(self.url, patience=20.0) as casebook:
            said = [str(problem) for problem in casebook.check().problems]
            stories = {case: casebook.events(case) for case in casebook.ids()}
            drills = Counter(done.who for who in self.drills for done in casebook.drills(who))
        kept = Counter(
            (case, event.what.text)
            for case, story in stories.items()
            for event in story
            if isinstance(event.what, Noted)
        )
        said += [f"lost case {case}" for case in self.cases if case not in stories]
        said += [f"lost {note}" for note in self.notes if not kept[note]]
        said += [f"doubled {note}" for note, many in kept.items() if many > 1]
        said += [f"lost drill of {who}" for who, many in self.drills.items() if drills[who] < many]
        said += [
            f"lost an import of {case}"
            for case, many in self.imports
            if len(stories.get(case, ())) < many
        ]
        ended, self.ended = self.ended, []
        return said + ended


Strike = Callable[[subprocess.Popen[bytes]], None]
"""What is done to a process, or to the server that it uses."""


def end(process: subprocess.Popen[bytes]) -> None:
    process.send_signal(signal.SIGKILL)


def work(book: Book, rng: random.Random, strike: Strike, number: int) -> str:
    """Notes typed into a case, one after another; the strike comes at any moment."""
    old = book.cases and rng.random() < 0.7
    words = ("--case", rng.choice(book.cases)) if old else ("mounted-6",)
    process = book.rowfault("work", *words, "--who", "Ann")
    assert process.stdin is not None
    case = words[1] if old else ""
    when = rng.randrange(-2, NOTES)  # after so many notes; before all, while it starts
    delay = rng.random() * (1.5 if when < 0 else 0.02)
    struck = Timer(delay, strike, [process])
    said, asked = b"", 0
    for note in range(NOTES + 1):
        if note == max(when, 0):
            struck.start()
        said = _until_asked(process, said, asked := asked + 1)
        if case == "" and (found := re.search(rb"Case ([0-9a-z-]+)\.", said)):
            case = found[1].decode()
            book.cases.append(case)
        if len(re.findall(rb"(?m)^> ", said)) < asked:
            asked -= 1
            break
        if note:  # the next question came: the last note is kept
            book.notes.append((case, f"{number} {note}"))
        if note < NOTES:
            try:
                process.stdin.write(f"note {number} {note + 1}\n".encode())
                process.stdin.flush()
            except BrokenPipeError:
                break
    struck.join()
    _close(process)
    if strike is not end and when >= 0 and asked <= NOTES:
        book.ended.append(f"kill {number}: the work ended when the server was gone")
    return said.decode(errors="replace")


def _until_asked(process: subprocess.Popen[bytes], said: bytes, times: int) -> bytes:
    """What the program says until it asked so many times, or is no more."""
    assert process.stdout is not None
    while len(re.findall(rb"(?m)^> ", said)) < times:
        more = os.read(process.stdout.fileno(), 65536)
        if not more:
            break
        said += more
    return said


def take_up(book: Book, rng: random.Random, strike: Strike, number: int) -> str:
    """A case that is imported, or one of which more is imported."""
    case = f"20260301-mounted-6-{number:06x}"
    at = datetime(2026, 3, 1, tzinfo=UTC)
    notes = [new_event(Noted(f"{number} imported {each}"), "Ben", at) for each in range(12)]
    story = [new_event(Opened(case=case, machine="mounted-6"), "Ben", at), *notes]
    file = book.home / f"{case}.yaml"
    file.write_text(story_text(story), encoding="utf-8")
    process = book.rowfault("cases", "import", str(file))
    said, done = _struck(process, rng, strike, book.lasted, "import")
    if done or f"{case}: 13 new events" in said:
        book.imports.append((case, len(story)))
    return said


def drill(book: Book, rng: random.Random, strike: Strike, number: int) -> str:
    """A drill that is given up at once, and kept."""
    who = f"player {number}"
    answers = book.home / "answers"
    answers.write_text("give up\n", encoding="utf-8")
    words = ("drill", "mounted-6", "--level", "1", "--seed", str(rng.randrange(5)))
    process = book.rowfault(*words, "--who", who, "--answers", str(answers))
    said, done = _struck(process, rng, strike, book.lasted, "drill")
    if done or "Kept in your record" in said:
        book.drills[who] += 1
    return said


def _struck(
    process: subprocess.Popen[bytes],
    rng: random.Random,
    strike: Strike,
    lasted: dict[str, float],
    act: str,
) -> tuple[str, bool]:
    """What a process said until it was struck or done, and whether it ended well.

    Most strikes come near the end, where things are kept; ``lasted`` says when that was last.
    """
    start, longest = time.monotonic(), lasted.get(act, 2.0)
    earliest = 0.0 if rng.random() < 0.2 else 0.6
    struck = Timer(longest * (earliest + rng.random() * (1.15 - earliest)), strike, [process])
    struck.start()
    said, _ = process.communicate(timeout=PATIENCE)
    if process.returncode == 0:
        lasted[act] = time.monotonic() - start
        struck.cancel()
    else:  # it may have come too early
        lasted[act] = 1.05 * longest
    struck.join()
    return said.decode(errors="replace"), process.returncode == 0


def _close(process: subprocess.Popen[bytes]) -> None:
    """Let a process end that was not killed: nobody answers any more."""
    assert process.stdin is not None
    assert process.stdout is not None
    with suppress(BrokenPipeError):
        process.stdin.close()
    process.stdout.read()
    process.stdout.close()
    process.wait(timeout=PATIENCE)


ACTS = (work, work, take_up, drill)


@contextmanager
def new_book(server: Server | None) -> Iterator[Book]:
    """An empty casebook."""
    home = Path(tempfile.mkdtemp(prefix="kills"))
    try:
        url = server.new_database() if server else f"sqlite:///{home / 'casebook.sqlite'}"
        yield Book(url, home)
    finally:
        shutil.rmtree(home, ignore_errors=True)


def strikes(server: Server | None, url: str) -> list[Strike]:
    """Ways to strike: the program; the server's part of its connection; the server."""
    if server is None:
        return [end]
    name = url.rpartition("/")[2]

    def cut(_: subprocess.Popen[bytes]) -> None:
        server.end_connections(name)

    def crash(_: subprocess.Popen[bytes]) -> None:
        server.crash()

    return [end, cut, crash]


def kills(server: Server | None, many: int, seed: int, report: bool = True) -> list[str]:
    """Kill so often; what went wrong."""
    rng, wrong, done = random.Random(seed), [], Counter[str]()
    start = time.monotonic()
    for first in range(0, many, FRESH):
        with new_book(server) as book:
            for number in range(first, min(first + FRESH, many)):
                act = rng.choice(ACTS)
                strike = rng.choice(strikes(server, book.url))
                said = act(book, rng, strike, number)
                name = f"{act.__name__}, {strike.__name__}"
                done[name] += 1
                found = book.wrong()
                found += ["a traceback"] if "Traceback" in said else []
                wrong += [f"kill {number} ({name}): {each}" for each in found]
                if found and report:
                    print(*wrong[-len(found) :], said[-2000:], sep="\n", flush=True)
            kept = len(book.notes), len(book.imports), sum(book.drills.values())
            if report:
                print(f"{first + FRESH}: acknowledged (notes, imports, drills) {kept}", flush=True)
    if report:
        print(f"{many} kills in {time.monotonic() - start:.0f} s: {len(wrong)} wrong; {dict(done)}")
    return wrong


@contextmanager
def own_server() -> Iterator[Server]:
    """A server of PostgreSQL for this run alone."""
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    server = Server(folder)
    try:
        yield server
    finally:
        server.stop()
        shutil.rmtree(folder, ignore_errors=True)


def main(kind: str, many: int, seed: int) -> int:
    """Kill on one kind of database; the exit status."""
    if kind == "sqlite":
        return bool(kills(None, many, seed))
    with own_server() as server:
        return bool(kills(server, many, seed))


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[2:]]
    sys.exit(main(sys.argv[1], numbers[0] if numbers else 100, numbers[1] if numbers[1:] else 1))
