"""Random stories of a planter under repair, and a second opinion of what they prove."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, combinations

import hypothesis.strategies as st
import numpy as np

from diagnose.api import rank
from diagnose.diagnosis.evidence import Evidence
from diagnose.errors import NoAnswer
from diagnose.inference.network import ABSENT, PRESENT, Network
from diagnose.machine.graph import Machine, load_machine
from diagnose.observations.case import Case
from diagnose.observations.events import Remedied, Run, Swapped, Work
from diagnose.observations.result import Result
from diagnose.planner.verification import Proof
from diagnose.tolerances import PROVEN_BELOW

SMALL = load_machine("mounted-6")
GOOD = {"oil": 54.0, "engine": "on", "moving": "no"}
READY = {
    "bleed": GOOD | {"bleed-hose": "fitted", "supply": 60.0},
    "response": GOOD | {"bleed-hose": "stowed", "supply": 180.0},
}
PIECES = {
    "cross-plugs": ("lead",),
    "swap-coil": ("coil",),
    "swap-valve": ("coil", "body"),
    "swap-driver": ("drive",),
    "swap-sensor": ("sensor",),
}
RENEWS = {
    "replace-coil": ("coil",),
    "replace-valve": ("body", "coil"),
    "replace-driver": ("drive",),
    "replace-sensor": ("sensor",),
}
"""Which pieces a swap exchanges and a remedy renews: written down here a second time."""

ELECTRIC = ("connector", "driver", "branch", "feed", "bus", "controller")
MOST_FAILED = 7
"""The second opinion on chances takes twice as long for each failure more."""


def runs(machine: Machine) -> st.SearchStrategy[Run]:
    """Runs of either check: mostly full passes, some with failures, of a few rows, or bad."""
    every = st.just("P" * machine.rows)
    some = st.text("PPPPF.?", min_size=machine.rows, max_size=machine.rows)
    one = st.integers(0, machine.rows - 1).map(
        lambda row: "".join("F" if at == row else "P" for at in range(machine.rows))
    )

    def made(check: str, pattern: str, off: bool) -> Run:
        told = READY[check] | ({"engine": "off"} if off else {})
        return Run(0, check, tuple(map(Result, pattern)), told)

    off = st.sampled_from([False] * 7 + [True])
    return st.builds(made, st.sampled_from(sorted(READY)), st.one_of(every, every, one, some), off)


def works(machine: Machine) -> st.SearchStrategy[Work]:
    """Remedies anywhere, and swaps between any two rows."""
    remedies = [
        Remedied(remedy.id, part)
        for part, kind in machine.parts.items()
        for remedy in kind.remedies
    ]
    swaps = [
        Swapped(swap.id, part, f"row-{row}/{part.partition('/')[2]}")
        for part, kind in machine.parts.items()
        for swap in kind.swaps
        for row in range(1, machine.rows + 1)
        if row not in machine.rows_of(part)
    ]
    return st.one_of(st.sampled_from(remedies), st.sampled_from(swaps), st.sampled_from(swaps[:12]))


def stories(machine: Machine = SMALL) -> st.SearchStrategy[Case]:
    """Cases that were worked on: a few runs and works in any order, then perhaps full passes."""
    event = st.one_of(runs(machine), runs(machine), works(machine))

    def told(events: Sequence[Run | Work], passes: int) -> Case:
        case = Case(machine.id)
        for each in events:
            case = case.then(each)
        for check in ("bleed", "response") * passes:
            letters = tuple(Result.PASS for _ in range(machine.rows))
            case = case.then(Run(0, check, letters, READY[check]))
        return case

    return st.builds(told, st.lists(event, max_size=7), st.integers(0, 3))


@dataclass(eq=False)
class Piece:
    """One thing of steel or copper, and where it belongs: a coil on a body, all else in a row."""

    home: str | Piece


def out_of_place(work: Sequence[Work]) -> bool:
    """Whether any piece is elsewhere than it belongs, by carrying each one by hand."""
    at: dict[tuple[str, str], Piece] = {}
    for row in sorted({part.partition("/")[0] for done in work for part in _parts(done)}):
        at |= {(row, piece): Piece(row) for piece in ("lead", "drive", "sensor", "body")}
        at[row, "coil"] = Piece(at[row, "body"])
    for done in work:
        row, *others = (part.partition("/")[0] for part in _parts(done))
        if isinstance(done, Swapped):
            for piece in PIECES[done.swap]:
                here, there = (row, piece), (others[0], piece)
                at[here], at[there] = at[there], at[here]
            continue
        for piece in RENEWS.get(done.remedy, ()):
            _fit_new(at, row, piece)
    return any(piece.home != _seat(at, *place) for place, piece in at.items())


def _parts(done: Work) -> list[str]:
    return [done.part, done.other] if isinstance(done, Swapped) else [done.part]


def _seat(at: Mapping[tuple[str, str], Piece], row: str, piece: str) -> str | Piece:
    """What a piece at a place sits on."""
    return at[row, "body"] if piece == "coil" else row


def _fit_new(at: dict[tuple[str, str], Piece], row: str, piece: str) -> None:
    """Scrap what is at a place; whose home is taken or gone moves into the scrapped one's."""
    scrapped, seat = at[row, piece], _seat(at, row, piece)
    at[row, piece] = Piece(seat)
    there = list(at.values())
    for (_, kind), other in at.items():
        gone = isinstance(other.home, Piece) and other.home not in there
        if kind == piece and other is not at[row, piece] and (other.home == seat or gone):
            other.home = scrapped.home


def last_touch(case: Case, check: str) -> int:
    """The epoch of the last work that is not plainly beside a check's matter."""
    last = 0
    for number, done in enumerate(case.work, start=1):
        electric = done.part.rpartition("/")[2] in ELECTRIC
        name = done.swap if isinstance(done, Swapped) else done.remedy
        dry = electric or name in ("swap-coil", "replace-coil", "calibrate-sensor", "free-linkage")
        if check == "response" or not dry:
            last = number
    return last


def passed_fully(case: Case, check: str) -> bool:
    """Whether one good run of every row passed after the last work that may have touched it."""
    since = last_touch(case, check)
    return any(
        run.check == check
        and run.epoch >= since
        and set(run.results) == {Result.PASS}
        and run.circumstances.get("engine") == "on"
        for run in case.runs
    )


def probability(network: Network, states: Sequence[int]) -> float:
    """The posterior of any of some states of one variable, by inclusion and exclusion.

    Quickscore (Heckerman 1989): independent of the solver, exponential in what failed.
    """
    present = np.flatnonzero(network.outcome == PRESENT).tolist()
    absent = np.flatnonzero(network.outcome == ABSENT).tolist()
    subsets = chain.from_iterable(combinations(present, n) for n in range(len(present) + 1))
    whole = inside = 0.0
    for some in subsets:
        every, mine = _all_absent(network, [*absent, *some], states)
        whole += (-1) ** len(some) * every
        inside += (-1) ** len(some) * mine
    return inside / whole


def _all_absent(
    network: Network, findings: Sequence[int], states: Sequence[int]
) -> tuple[float, float]:
    weight, leak = network.prior.copy(), 1.0
    for finding in findings:
        own = slice(network.start[finding], network.start[finding + 1])
        np.multiply.at(weight, network.state[own], np.exp(network.log_survival[own]))
        leak *= 1 - network.leak[finding]
    sums = np.add.reduceat(weight, network.offsets[:-1])
    owner = int(np.searchsorted(network.offsets, states[0], side="right")) - 1
    mine = float(weight[list(states)].sum())
    return float(leak * sums.prod()), float(leak * np.delete(sums, owner).prod() * mine)


def explaining(evidence: Evidence) -> Iterator[tuple[str, list[int]]]:
    """Each part that some failure may come from, with its states in which it is faulty now."""
    seen = {
        int(state)
        for one in evidence.observed
        if one.outcome == PRESENT
        for state in one.entries[0]
    }
    for number, part in enumerate(evidence.model.machine.parts):
        states = range(evidence.offsets[number], evidence.offsets[number + 1])
        gone = {int(states[0]) + state for state in evidence.epochs.gone(part)}
        if seen & set(states):
            yield part, [state for state in states[1:] if state not in gone]


def failed(case: Case) -> int:
    """How often a row failed."""
    return sum(run.pattern.count("F") for run in case.runs)


def held_proof(case: Case) -> bool:
    """Hold one story against the second opinion; whether it was proven good."""
    try:
        proof = Proof(rank(SMALL, case))
        proven = proof.holds
    except NoAnswer:
        return False
    away = out_of_place(case.work)
    due = [check for check in ("bleed", "response") if not passed_fully(case, check)]
    evidence = proof.ranking.evidence
    assert bool(proof.exchanged) == away
    assert not (proven and (away or due or evidence.failed_rows))
    likely = {
        part
        for part, states in explaining(evidence)
        if probability(evidence.network, states) >= PROVEN_BELOW
    }
    assert not (proven and likely), likely
    assert proven or away or evidence.failed_rows or proof.missing or proof.suspects
    return proven
