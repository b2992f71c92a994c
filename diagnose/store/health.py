"""Whether everything in a casebook is as it was stored."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, text

from diagnose.errors import Damaged, InputError, Place, Problem
from diagnose.observations.state import replay
from diagnose.record import record
from diagnose.store.drilling import drills_of
from diagnose.store.entry import entry_of, words_of
from diagnose.store.listing import damages, ids_of, read_case, search_damages
from diagnose.store.reading import REMEDY, Kept
from diagnose.store.rows import sha256


@record
class Health:
    """How many cases and entries there are, and what is not as it was stored."""

    cases: int
    entries: int
    problems: tuple[Problem, ...]


def health(connection: Connection) -> Health:
    """Read all there is; nothing is changed."""
    problems = list(_of_the_file(connection))
    ids, entries = ids_of(connection), 0
    for case in ids:
        try:
            kept = read_case(connection, case, [])
            problems += _of_the_list(connection, case, kept)
            entries += len(kept)
        except Damaged as damaged:
            problems.append(damaged.problem)
            entries += len(damaged.whole)
    problems += [*damages(connection), *search_damages(connection)]
    try:
        drills_of(connection, "")
    except Damaged as damaged:
        problems.append(damaged.problem)
    return Health(len(ids), entries, tuple(dict.fromkeys(problems)))


def _of_the_file(connection: Connection) -> Iterator[Problem]:
    if connection.dialect.name == "sqlite":
        said = connection.execute(text("PRAGMA integrity_check")).scalar()
        if said != "ok":
            yield Problem(Place("casebook"), "a sound file", repr(said), REMEDY)


def _of_the_list(connection: Connection, case: str, kept: list[Kept]) -> Iterator[Problem]:
    """What the list says of a case, and its entries do not."""
    place = Place(f"case {case}, its line in the list of cases")
    try:
        state = replay([each.event for each in kept])
    except InputError as error:
        yield error.problem
        return
    row = connection.execute(
        text('SELECT machine, outcome, said FROM cases WHERE "case" = :case'), {"case": case}
    ).first()
    entry = entry_of(state)
    if row is None or tuple(row) != (entry.machine, entry.outcome, sha256(words_of(state))):
        yield Problem(place, "what its entries come to", "something else", REMEDY)
