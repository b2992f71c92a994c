"""Fills a casebook with every kind of event: the stories in `tests/store/older`, as of 97aa4ee.

``tests/store/older/casebook.sqlite`` and ``casebook.sql`` (PostgreSQL) were made in a checkout of
that commit, with its own program::

    uv run python older.py sqlite:////tmp/casebook.sqlite
    uv run python older.py postgresql://tests@127.0.0.1:PORT/older
    pg_dump --inserts --no-owner --no-privileges postgresql://tests@127.0.0.1:PORT/older
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta

from diagnose.knowledge.base import load_knowledge
from diagnose.observations.entries import (
    Answered,
    AtHand,
    Concluded,
    Correction,
    Event,
    Noted,
    Opened,
    Skipped,
    What,
)
from diagnose.observations.events import Circumstances, History, Reading, Remedied, Run, Swapped
from diagnose.observations.guard import undo
from diagnose.store.casebook import open_casebook
from diagnose.training.record import Finished, Opportunity

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
WARM = {"oil": 54.25, "engine": "on"}
CAUSE = "row-6/valve:coil_open"
SWAP = Swapped("swap-coil", "row-5/valve", "row-6/valve")


def story(number: int, whats: list[What]) -> list[Event]:
    """Events a minute apart, told by two people in turn, with ids that say their place."""
    return [
        Event(
            id=f"{number:016x}{place:016x}",
            at=START + timedelta(days=number, minutes=place),
            who=("Ann", "Ben Ünal")[place % 2],
            what=what,
        )
        for place, what in enumerate(whats, 1)
    ]


def proven() -> list[Event]:
    """A case with every kind of event."""
    begun = story(1, [
        Opened(case="20260302-mounted-6-aaaaaa", machine="mounted-6", title="row 6 rides “light”"),
        History({"first-hookup": "no"}),
        Circumstances({"oil": 54.25, "engine": "on", "supply": None}),
        Run.of("bleed", "PPPPPP", WARM),
        Run.of("response", "PPPPPF", WARM),
        AtHand(without=("gauge",), alone=True),
        Skipped(act="response@5-6", reason="no: 'off'"),
        Reading("coil-resistance", "row-6/valve", 1 / 3),
        SWAP,
        Run.of("response", "....FP", {}),
        Noted("hose chafed\n\tsee <photo> 🚜"),
        Remedied("replace-coil", "row-5/valve"),
    ])  # fmt: skip
    taken_back = undo(begun[:-1])
    assert taken_back is not None
    return story(1, [
        *(event.what for event in begun),
        taken_back,
        Correction(event=begun[3].id, instead=Run.of("bleed", "PPPPPP")),
        Answered(run=begun[9].id, circumstance="oil", value=50.0),
        Run.of("response", "PPPPPP", WARM),
        Concluded(outcome="proven", causes=(CAUSE,), says="the coil was broken"),
    ])  # fmt: skip


def handed_over() -> list[Event]:
    """A case on a layout of its own that was handed over."""
    layout = load_knowledge().layouts["mounted-6"].read_text().replace("id: mounted-6", "id: ours")
    opening = Opened(case="20260303-ours-bbbbbb", machine="ours", layout=layout)
    ended = Concluded(outcome="handed-over", says="needs a second person")
    return story(2, [opening, Run.of("response", "FFFFFF"), ended])


def still_open() -> list[Event]:
    """A case in hand."""
    opening = Opened(case="20260304-mounted-12-cccccc", machine="mounted-12", title="ours: no")
    return story(3, [opening, Run.of("bleed", "PPPPFPPPPPPP")])


def done(who: str) -> Finished:
    """A finished drill."""
    taken = (Opportunity("patterns", 1, taken=True),)
    id = who.encode().hex().ljust(32, "0")
    return Finished(who, "ABCD-EFGH", "mounted-6", 1, 80, 93.5, False, taken, START, id)


def main(url: str) -> None:
    """Fill the casebook at a URL."""
    with open_casebook(url) as casebook:
        for events in (proven(), handed_over(), still_open()):
            casebook.merge(events)
        casebook.keep_drill(done("Ann"))


if __name__ == "__main__":
    main(sys.argv[1])
