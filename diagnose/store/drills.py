"""Drills as rows of the database."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select

from diagnose.errors import Damaged, Place, Problem
from diagnose.store.reading import REMEDY
from diagnose.store.rows import (
    SEALED_OF_DRILLS,
    SEALED_OF_PLAYERS,
    drills,
    is_sealed,
    players,
    seal,
)
from diagnose.training.record import Finished, Opportunity


def add_drill(connection: Connection, done: Finished) -> None:
    """Add a drill, and count it."""
    if connection.dialect.name == "postgresql":
        # Two drills of one person that end at once are counted one after the other.
        connection.execute(select(func.pg_advisory_xact_lock(func.hashtext(done.who))))
    known = select(players.c.drills).where(players.c.who == done.who)
    many = (connection.execute(known).scalar() or 0) + 1
    connection.execute(insert(drills).values(row_of(done)))
    connection.execute(delete(players).where(players.c.who == done.who))
    row = {"who": done.who, "drills": many, "seal": seal([done.who, many])}
    connection.execute(insert(players).values(row))


def drills_of(connection: Connection, who: str) -> list[Finished]:
    """One person's drills, the first one first. Raises `Damaged` with those that are whole.

    Everybody's are read and counted: a damaged one may only seem to be somebody else's.
    """
    found, problems, many = [], [], Counter[str]()
    query = select(drills).order_by(drills.c.at, drills.c.id)
    for row in connection.execute(query).mappings():
        many[row["who"]] += 1
        if not is_sealed(dict(row), SEALED_OF_DRILLS):
            place = Place(f"drill {row['id']}")
            problems.append(Problem(place, "what was stored", "something else", REMEDY))
        elif row["who"] == who:
            found.append(drill_of(dict(row)))
    noted = {}
    for row in connection.execute(select(players)).mappings():
        noted[row["who"]] = row["drills"] if is_sealed(dict(row), SEALED_OF_PLAYERS) else None
    if noted != many:
        problems.append(Problem(Place("drills"), "all that were stored", "others", REMEDY))
    if problems:
        raise Damaged(problems[0], found)
    return found


def row_of(done: Finished) -> dict[str, object]:
    """The columns of a drill.

    >>> done = Finished("A", "", "mounted-6", 1, 90, 80.0, True, (Opportunity("prove", 5, True),))
    >>> row_of(done)["opportunities"]
    '[{"skill": "prove", "move": 5, "taken": true}]'
    """
    opportunities = [asdict(each) for each in done.opportunities]
    at = done.at.astimezone(UTC).isoformat(timespec="microseconds")
    row = {**asdict(done), "at": at, "opportunities": json.dumps(opportunities)}
    return {**row, "seal": seal(row[name] for name in SEALED_OF_DRILLS)}


def drill_of(row: Mapping[str, Any]) -> Finished:
    """The drill that a row is about.

    >>> done = Finished("A", "", "mounted-6", 1, 90, 80.0, True, (Opportunity("prove", 5, True),))
    >>> drill_of(row_of(done)) == done
    True
    """
    opportunities = tuple(Opportunity(**each) for each in json.loads(row["opportunities"]))
    at = datetime.fromisoformat(row["at"])
    columns = {name: row[name] for name in SEALED_OF_DRILLS}
    return Finished(**{**columns, "at": at, "opportunities": opportunities})
