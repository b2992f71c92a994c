"""Lists of cases: tables worked out from events, written as they come and written anew."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sqlalchemy import ColumnElement, Connection, select, text

from diagnose.errors import Damaged, Place, Problem
from diagnose.observations.state import CaseState, replay
from diagnose.store.entry import STILL_OPEN, Entry, Wanted, entry_of, words_in, words_of
from diagnose.store.reading import REMEDY, Kept, read_back
from diagnose.store.rows import (
    SEALED_OF_CASES,
    TableRow,
    case_row,
    cases,
    entry_in,
    events,
    is_sealed,
    seal,
    sha256,
)

FOUND = {"sqlite": "words MATCH :wanted", "postgresql": "found @@ to_tsquery('simple', :wanted)"}
"""By dialect, how the words of a case are searched."""

ALONE = (
    'SELECT DISTINCT "case" FROM events EXCEPT SELECT "case" FROM cases',
    'SELECT "case" FROM cases WHERE length > 0 EXCEPT SELECT DISTINCT "case" FROM events',
)
"""Cases of which the entries are there without the row in the list, or the row without them."""


def ids_of(connection: Connection) -> list[str]:
    """The ids of all cases, the one in which something was told last first."""
    query = select(cases.c.case).order_by(cases.c.last.desc())
    found = [str(case) for case in connection.execute(query).scalars()]
    lost = (str(case) for case in connection.execute(text(ALONE[0])).scalars())
    return [*found, *lost]


def read_events(connection: Connection, case: str, known: Sequence[Kept]) -> list[Kept]:
    """The events of a case, with their hashes; none when there is no such case.

    Raises `Damaged`.
    """
    query = select(events).where(events.c.case == case, events.c.number > len(known))
    noted = connection.execute(select(cases).where(cases.c.case == case)).mappings().first()
    rows: list[TableRow] = [dict(row) for row in connection.execute(query).mappings()]
    rows.sort(key=lambda row: (not isinstance(row["number"], int), row["number"]))
    if noted is None:
        if rows or known:
            place = Place(f"case {case}, entry 1")
            whole = read_back(case, rows, known, None)
            problem = Problem(place, "its case in the list of cases", "none", REMEDY)
            raise Damaged(problem, [each.event for each in whole])
        return []
    return read_back(case, rows, known, dict(noted))


def listed(connection: Connection, wanted: Wanted) -> list[Entry]:
    """The cases that are wanted, the latest first. Raises `Damaged` with those that are whole.

    Every row is read and held against its seal, also of those that are not wanted: a damaged one
    may only seem not to be.
    """
    problems = list(damages(connection))
    query = select(cases).where(*_filters(wanted)).order_by(cases.c.last.desc(), cases.c.case)
    bound = {}
    if wanted.text is not None:
        words = words_in(wanted.text)
        if not words:
            return []
        problems += search_damages(connection)
        dialect = connection.dialect.name
        query = query.where(text(f'"case" IN (SELECT "case" FROM words WHERE {FOUND[dialect]})'))
        bound = {"wanted": _search(dialect, words)}
    rows = connection.execute(query.limit(wanted.limit), bound).mappings()
    entries = [entry_in(dict(row)) for row in rows if is_sealed(dict(row), SEALED_OF_CASES)]
    if problems:
        raise Damaged(problems[0], entries)
    return entries


def damages(connection: Connection) -> Iterator[Problem]:
    """What is wrong with the list of cases, one thing after another."""
    if connection.dialect.name == "sqlite":
        said = connection.execute(text("PRAGMA integrity_check(cases)")).scalar()
        if said != "ok":
            yield Problem(Place("list of cases"), "a sound table", repr(said), REMEDY)
    columns = [cases.c[name] for name in (*SEALED_OF_CASES, "seal")]
    for *values, sealed in connection.execute(select(*columns).order_by(cases.c.case)):
        if seal(values) != sealed:
            place = Place(f"case {values[0]}, its line in the list of cases")
            yield Problem(place, "what was stored", "something else (its SHA-256 differs)", REMEDY)
    for query, missing in zip(ALONE, ("its line in the list of cases", "entry 1"), strict=True):
        for case in connection.execute(text(query)).scalars():
            yield Problem(Place(f"case {case}, {missing}"), "what was stored", "nothing", REMEDY)


def search_damages(connection: Connection) -> Iterator[Problem]:
    """What is wrong with the words that searches look through."""
    said = {
        row.case: row.said for row in connection.execute(text('SELECT "case", said FROM words'))
    }
    for case, noted in connection.execute(select(cases.c.case, cases.c.said)):
        words = said.get(case)
        if noted != sha256("") and (not isinstance(words, str) or sha256(words) != noted):
            place = Place(f"case {case}, its words for searching")
            yield Problem(place, "what was stored", "something else", REMEDY)


def _filters(wanted: Wanted) -> Iterator[ColumnElement[bool]]:
    if wanted.open is not None:
        yield (cases.c.outcome == STILL_OPEN) if wanted.open else (cases.c.outcome != STILL_OPEN)
    if wanted.machine is not None:
        yield cases.c.machine == wanted.machine
    if wanted.cause is not None:
        yield cases.c.causes.contains(wanted.cause, autoescape=True)
    if wanted.since is not None:
        yield cases.c.opened >= wanted.since.isoformat()


def _search(dialect: str, words: Sequence[str]) -> str:
    """Cases with all the words, the last of which may be only begun."""
    if dialect == "sqlite":
        return " ".join(f'"{word}"*' for word in words)
    return " & ".join(f"'{word}':*" for word in words)


def note_down(connection: Connection, state: CaseState, length: int, head: str) -> None:
    """What lists and searches want to know of a case, and how its chain ends."""
    words = words_of(state)
    columns = case_row(entry_of(state), length, head, words)
    connection.execute(cases.update().where(cases.c.case == state.id).values(columns))
    said = {"id": state.id, "said": words}
    connection.execute(text('DELETE FROM words WHERE "case" = :id'), said)
    connection.execute(text('INSERT INTO words ("case", said) VALUES (:id, :said)'), said)


def note_all(connection: Connection) -> None:
    """Note down every case anew, as this program understands it; a damaged one is left alone."""
    for case in ids_of(connection):
        try:
            kept = read_events(connection, case, [])
        except Damaged:
            continue
        if kept:
            state = replay([each.event for each in kept])
            note_down(connection, state, len(kept), kept[-1].sha256)
