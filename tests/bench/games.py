"""Random games of drills, played to the end and talked over: none may break.

Run with ``python -m tests.bench.games COUNT [FIRST]``: game n is the same whenever it is played.
Every layout and level has its turn. A game is random legal moves, read from what somebody would
type, with words in between that are no moves; then the debriefing, the report and what is kept.
"""

from __future__ import annotations

import random
import sys
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

from rich.console import Console

from diagnose.errors import NoAnswer
from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.reports.training import build_drill_report
from diagnose.training.decision_point import cautions, plain_cautions, worded
from diagnose.training.game import Drill, Sitting, begin, play
from diagnose.training.moves import Move, MoveReader
from diagnose.training.policies import decision_point_of
from diagnose.training.score import Judge, finished
from diagnose.training.share_code import DrillName
from diagnose.ui.terminal.drill import debriefing_text

LAYOUTS = ("mounted-6", "mounted-12", "folding-16", "folding-24", "folding-48")
LEVELS = (0, 1, 2, 3, 4)

MOST_MOVES = 12
"""After so many moves a player gives up or declares."""

HINTED = 0.1
"""How often a hint is asked for before a move."""

ODD = (
    "", " ", "response", "response 0", "response 99", "response 3-1", "response ,", "bleed x",
    "declare", "declare row-1", "declare none none", "declare 1 no-such-mode", "declare ,", "ask",
    "ask weather", "ask oil 9", "ask oil run", "replace-coil", "replace-coil 99", "swap-coil 1 1",
    "swap-coil 1 with", "valve-code nobody", "coil-resistance 1 2", "fly", "give", "give in", "@",
    ":::", "response@", "9" * 500, "réponse 1", "\x00", "declare:", "ask:@", "ask:oil@0",
)  # fmt: skip
"""What is typed by mistake; each is a move or is refused in words."""


@dataclass(frozen=True)
class Game:
    """One game: which drill, and how it went; ``trace`` is empty when nothing broke."""

    number: int
    named: DrillName
    moves: tuple[str, ...]
    marks: int
    unjudged: int
    seconds: float
    trace: str = ""


def played_game(number: int, knowledge: Knowledge) -> Game:
    """Game ``number``, from the first move to the last word about it."""
    rng = random.Random(number)
    named = DrillName(LAYOUTS[number % 5], LEVELS[number // 5 % 5], rng.randrange(1000))
    started = time.process_time()
    moves: list[Move] = []
    try:
        drill = begin(named, knowledge)
        sitting = play(drill, moves)
        while not sitting.over:
            moves.append(_chosen(drill, sitting, rng))
            sitting = play(drill, moves)
        marks, unjudged = _talked_over(drill, sitting)
        trace = ""
    except Exception:
        marks, unjudged, trace = 0, 0, traceback.format_exc()
    ids = tuple(move.id for move in moves)
    return Game(number, named, ids, marks, unjudged, time.process_time() - started, trace)


def _talked_over(drill: Drill, sitting: Sitting) -> tuple[int, int]:
    """The marks, and how many moves could not be judged."""
    done = Judge(drill).debriefing(sitting)
    list(debriefing_text(done, Console(width=80)))
    build_drill_report(done)
    finished(done, "somebody")
    assert 0 <= done.marks <= 100
    assert min(done.losses) >= 0
    return done.marks, sum(not verdict.leading for verdict in done.verdicts)


def _chosen(drill: Drill, sitting: Sitting, rng: random.Random) -> Move:
    """What somebody types next: odd words are refused, then a move is read."""
    read = MoveReader(drill.machine, drill.knowledge, len(drill.knowledge.checks))
    if rng.random() < HINTED:
        _hinted(sitting)
    for text in rng.sample(ODD, 2):
        try:
            read(text)
        except Wrong:
            continue
    if len(sitting.moves) >= MOST_MOVES or rng.random() < 0.08:
        return rng.choice([Move("give up"), Move("declare", "none"), _declared(drill, rng)])
    if sitting.moves and rng.random() < 0.15:
        return rng.choice(sitting.moves)
    move = rng.choice(list(_legal(drill, rng)))
    plain_cautions(decision_point_of(sitting), move)
    return read(move.id)


def _hinted(sitting: Sitting) -> None:
    point = decision_point_of(sitting)
    with suppress(NoAnswer):
        worded(point)
        cautions(point, point.best)


def _declared(drill: Drill, rng: random.Random) -> Move:
    parts = rng.sample(list(drill.machine.parts), rng.randint(1, 2))
    modes = [f"{part}:{rng.choice(drill.machine.parts[part].modes).id}" for part in parts]
    return Move("declare", ",".join(modes))


def _legal(drill: Drill, rng: random.Random) -> Iterator[Move]:
    """One move of each kind."""
    machine, known = drill.machine, drill.knowledge
    rows = range(1, machine.rows + 1)
    failed = sorted(set().union(*drill.revealed().failed.values())) or [1]
    near = sorted({n for row in failed for n in (row - 1, row, row + 1) if n in rows})
    some = sorted(rng.sample(list(rows), rng.randint(1, machine.rows)))
    for check in known.checks:
        for chosen in (rows, failed, near, some, [rng.choice(failed)]):
            yield Move("run", check, tuple(chosen))
    asked = rng.choice([c for c in known.circumstances.values() if c.ask is not None])
    run = 0 if asked.scope == "case" else rng.randint(1, len(known.checks))
    yield Move("ask", asked.id, run=run)
    yield from _work(drill, rng.choice(list(machine.parts)), rng)
    yield from _work(
        drill, rng.choice(list(machine.ancestors(rng.choice(failed), "response"))), rng
    )


def _work(drill: Drill, part: str, rng: random.Random) -> Iterator[Move]:
    kind = drill.machine.parts[part]
    if kind.measurements:
        yield Move("read", rng.choice(kind.measurements).id, part=part)
    if kind.remedies:
        yield Move("mend", rng.choice(kind.remedies).id, part=part)
    others = [each for each in drill.machine.of_kind[kind.id] if each != part]
    if kind.swaps and others:
        yield Move("swap", rng.choice(kind.swaps).id, part=part, other=rng.choice(others))


def main(count: int, first: int = 0) -> int:
    """Play so many games; how many broke."""
    knowledge, started = load_knowledge(learned=False), time.perf_counter()
    games: list[Game] = []
    for number in range(first, first + count):
        games.append(game := played_game(number, knowledge))
        if game.trace:
            print(f"game {number}, {game.named}: {', '.join(game.moves)}\n{game.trace}", flush=True)
    broken = Counter(game.trace.strip().splitlines()[-1] for game in games if game.trace)
    moves = sum(len(game.moves) for game in games)
    print(
        f"{count} games from {first}, {moves} moves, {time.perf_counter() - started:.0f} s; "
        f"slowest {max(game.seconds for game in games):.1f} s of processor time; "
        f"{sum(game.unjudged for game in games)} moves not judged; {sum(broken.values())} broke"
    )
    for says, times in broken.most_common():
        print(f"{times:5} {says}")
    return sum(broken.values())


if __name__ == "__main__":
    sys.exit(min(main(*map(int, sys.argv[1:])), 1))
