"""What the list of cases says of a case, worked out from its events."""

from __future__ import annotations

from sqlalchemy import Connection, text

from diagnose.errors import Damaged
from diagnose.observations.state import State, replay
from diagnose.store.entry import entry_of, words_of
from diagnose.store.listing import ids_of, read_case
from diagnose.store.rows import case_row
from diagnose.store.tables import cases


def note_down(connection: Connection, state: State, length: int, head: str) -> None:
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
            kept = read_case(connection, case, [])
        except Damaged:
            continue
        if kept:
            state = replay([each.event for each in kept])
            note_down(connection, state, len(kept), kept[-1].sha256)
