"""The user's cases and drills, kept so that nothing that was acknowledged is ever lost."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from sqlalchemy import ColumnElement, Connection, Engine, RowMapping, insert, select, text

from diagnose.drill.record import Finished
from diagnose.errors import InputError, Place, Problem, Unavailable, UnknownName
from diagnose.knowledge.places import own_to_write
from diagnose.store.drillrows import drill_of, row_of
from diagnose.store.engine import clear_errors, make_engine, writing
from diagnose.store.entry import OPEN, Entry, Wanted, entry_of, words_in, words_of
from diagnose.store.schema import bring_up_to_date
from diagnose.store.tables import cases, drills, events
from diagnose.story.event import Event, Opened
from diagnose.story.replay import State, replay

VARIABLE = "ROWFAULT_CASEBOOK"
"""The URL of the casebook's database, where it is not the file in the user's data folder."""

FILE = "casebook.sqlite"

LAST = "last"
"""Stands for the case in which something was told last."""

SEE = "rowfault cases"

FOUND = {"sqlite": "words MATCH :wanted", "postgresql": "found @@ to_tsquery('simple', :wanted)"}
"""By dialect, how the words of a case are searched."""


class Casebook:
    """Cases and drills in a database; use it in a ``with`` block, or close it.

    Every method raises `Unavailable` when the database cannot do what is asked.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._writing = writing(engine)
        self._read_before: dict[str, list[Event]] = {}

    def __enter__(self) -> Casebook:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def begin(self, opening: Event) -> None:
        """Add a new case by its first event. Raises `InputError` when there is such a case.

        >>> from diagnose.story.event import told
        >>> opening = told(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> with open_casebook("sqlite://") as casebook:
        ...     casebook.begin(opening)
        ...     casebook.begin(opening)  # doctest: +ELLIPSIS
        Traceback (most recent call last):
        diagnose.errors.InputError: case: expected a case of another id, got a second case ...
        """
        self.merge([opening], new=True)

    def add(self, case: str, *told: Event) -> None:
        """Add events to a case. They are safe on the disk when this returns.

        An event that is there already is left as it is. Raises `UnknownName` when there is no
        such case, `InputError` for an event of another case.

        >>> from diagnose.story.event import Noted, told
        >>> note = told(Noted(text="hose chafed"), "A")
        >>> with open_casebook("sqlite://") as casebook:
        ...     casebook.begin(told(Opened(case="20260301-a", machine="mounted-6"), "A"))
        ...     casebook.add("20260301-a", note)
        ...     casebook.add("20260301-a", note)
        ...     print([event.what.kind for event in casebook.events("20260301-a")])
        ['opened', 'note']
        """
        with self._write() as connection:
            _hold(connection, case)
            _append(connection, case, self._events(connection, case), told)

    def merge(self, story: Sequence[Event], new: bool = False) -> int:
        """Add what a whole story tells beyond what is here; how many events that were.

        Raises `InputError` when it does not begin with an opening, when the case is here with
        another opening, or when it must be ``new`` and is here.

        >>> from diagnose.story.event import Noted, told
        >>> opening = told(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> note = told(Noted(text="hose chafed"), "A")
        >>> with open_casebook("sqlite://") as casebook:
        ...     print([casebook.merge(story) for story in ([opening], [opening, note], [opening])])
        [1, 1, 0]
        """
        state = replay(story)
        with self._write() as connection:
            here = _hold(connection, state.id, needed=False)
            known = self._events(connection, state.id) if here else []
            if known and (new or known[0].id != story[0].id):
                got = f"a second case {state.id}"
                raise InputError(Problem(Place("case"), "a case of another id", got))
            if not known:
                connection.execute(insert(cases).values(_columns(entry_of(state))))
            return _append(connection, state.id, known, story)

    def events(self, case: str) -> tuple[Event, ...]:
        """The events of a case in the order in which they were added.

        Raises `UnknownName` when there is no such case.

        >>> with open_casebook("sqlite://") as casebook:
        ...     casebook.events("20260301-a")  # doctest: +ELLIPSIS
        Traceback (most recent call last):
        diagnose.errors.UnknownName: case: expected a case, got '20260301-a'...
        """
        with self._read() as connection:
            found = self._events(connection, case)
            if not found:
                raise UnknownName(Place("case"), "a case", case, _ids(connection), SEE)
            return tuple(found)

    def find(self, name: str) -> str:
        """The id of a case by its id, by the unique beginning of it, or by ``last``.

        Raises `UnknownName` when there is none, `InputError` when there are several.

        >>> from diagnose.story.event import told
        >>> with open_casebook("sqlite://") as casebook:
        ...     for day, case in ((1, "20260301-a"), (2, "20260302-b")):
        ...         at = datetime(2026, 3, day, tzinfo=UTC)
        ...         casebook.begin(told(Opened(case=case, machine="mounted-6"), "A", at))
        ...     print(casebook.find("20260301"), casebook.find("last"))
        20260301-a 20260302-b
        """
        with self._read() as connection:
            ids = _ids(connection)
            if not ids:
                remedy = "open one with rowfault work MACHINE"
                raise InputError(Problem(Place("case"), "a case", "an empty casebook", remedy))
            if name in ids:
                return name
            if name == LAST:
                return ids[0]
            near = [id for id in ids if name and id.startswith(name)]
        if len(near) > 1:
            several = ", ".join(near[:5]) + (" and more" if len(near) > 5 else "")
            raise InputError(Problem(Place("case"), "one case", f"{name}, which is {several}"))
        if not near:
            raise UnknownName(Place("case"), "a case", name, ids, SEE)
        return near[0]

    def entries(self, wanted: Wanted | None = None) -> list[Entry]:
        """The cases that are wanted, the one in which something was told last first.

        >>> from diagnose.story.event import told
        >>> with open_casebook("sqlite://") as casebook:
        ...     for machine in ("mounted-6", "mounted-12"):
        ...         casebook.begin(told(Opened(case=f"20260301-{machine}", machine=machine), "A"))
        ...     print([entry.case for entry in casebook.entries(Wanted(machine="mounted-6"))])
        ['20260301-mounted-6']
        """
        wanted = wanted or Wanted()
        query = select(cases).where(*self._filters(wanted)).order_by(cases.c.last.desc())
        words = words_in(wanted.text) if wanted.text is not None else []
        if wanted.text is not None:
            if not words:
                return []
            query = query.where(text(f'"case" IN (SELECT "case" FROM words WHERE {self._found})'))
        with self._read() as connection:
            bound = {"wanted": self._search(words)} if words else {}
            rows = connection.execute(query.limit(wanted.limit), bound).mappings()
            return [_entry(row) for row in rows]

    def keep_drill(self, done: Finished) -> None:
        """Keep a finished drill. It is safe on the disk when this returns."""
        with self._write() as connection:
            connection.execute(insert(drills).values(row_of(done)))

    def drills(self, who: str) -> list[Finished]:
        """The drills that one person finished, the first one first; nobody else's.

        >>> done = Finished("Ann", "", "mounted-6", 1, 90, 80.0, True, ())
        >>> with open_casebook("sqlite://") as casebook:
        ...     casebook.keep_drill(done)
        ...     print(casebook.drills("Ann") == [done], casebook.drills("Ben"))
        True []
        """
        query = select(drills).where(drills.c.who == who).order_by(drills.c.at, drills.c.id)
        with self._read() as connection:
            return [drill_of(row) for row in connection.execute(query).mappings()]

    def _events(self, connection: Connection, case: str) -> list[Event]:
        """A case's events. Nothing is ever changed, so only those that are new are read."""
        known = self._read_before.get(case, [])
        query = select(events.c.body).where(events.c.case == case, events.c.number > len(known))
        bodies = connection.execute(query.order_by(events.c.number)).scalars()
        found = [*known, *(Event.model_validate_json(body) for body in bodies)]
        self._read_before[case] = found
        return found

    def _filters(self, wanted: Wanted) -> Iterator[ColumnElement[bool]]:
        if wanted.open is not None:
            yield (cases.c.outcome == OPEN) if wanted.open else (cases.c.outcome != OPEN)
        if wanted.machine is not None:
            yield cases.c.machine == wanted.machine
        if wanted.cause is not None:
            yield cases.c.causes.contains(wanted.cause, autoescape=True)
        if wanted.since is not None:
            yield cases.c.opened >= wanted.since.isoformat()

    @property
    def _found(self) -> str:
        return FOUND[self._engine.dialect.name]

    def _search(self, words: Sequence[str]) -> str:
        """Cases with all the words, the last of which may be only begun."""
        if self._engine.dialect.name == "sqlite":
            return " ".join(f'"{word}"*' for word in words)
        return " & ".join(f"'{word}':*" for word in words)

    @contextmanager
    def _read(self) -> Iterator[Connection]:
        with clear_errors(self._engine), self._engine.begin() as connection:
            yield connection

    @contextmanager
    def _write(self) -> Iterator[Connection]:
        with clear_errors(self._engine), self._writing.begin() as connection:
            yield connection


def open_casebook(url: str | None = None) -> Casebook:
    """The casebook at a URL, else at ``ROWFAULT_CASEBOOK``, else in the user's data folder.

    It is made when there is none yet, and brought up to date when it is from an older program.
    Raises `Unavailable`.
    """
    named = url or os.environ.get(VARIABLE)
    engine = make_engine(named) if named else make_engine(_file())
    try:
        with clear_errors(engine):
            bring_up_to_date(engine)
    except Unavailable:
        engine.dispose()
        raise
    return Casebook(engine)


def _file() -> Path:
    folder = own_to_write().root
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Unavailable(
            f"{folder}: expected a folder for the casebook, got {error.strerror}; "
            "see who owns it, or set ROWFAULT_HOME to another"
        ) from error
    return folder / FILE


def _hold(connection: Connection, case: str, needed: bool = True) -> bool:
    """Keep everybody else from adding to a case until the transaction ends; whether it is here."""
    query = select(cases.c.case).where(cases.c.case == case).with_for_update()
    if connection.execute(query).scalar() is not None:
        return True
    if needed:
        raise UnknownName(Place("case"), "a case", case, _ids(connection), SEE)
    return False


def _ids(connection: Connection) -> list[str]:
    return list(connection.execute(select(cases.c.case).order_by(cases.c.last.desc())).scalars())


def _append(
    connection: Connection, case: str, known: Sequence[Event], told: Iterable[Event]
) -> int:
    """Add the events that are not known yet, and note down what the case comes to."""
    ids = {event.id for event in known}
    fresh = {event.id: event for event in told if event.id not in ids}
    if not fresh:
        return 0
    _refuse_strangers(connection, case, known, list(fresh.values()))
    first = len(known) + 1
    rows = [_row(case, first + n, event) for n, event in enumerate(fresh.values())]
    connection.execute(insert(events), rows)
    _note_down(connection, replay([*known, *fresh.values()]))
    return len(fresh)


def _refuse_strangers(
    connection: Connection, case: str, known: Sequence[Event], fresh: Sequence[Event]
) -> None:
    taken = connection.execute(
        select(events.c.case).where(events.c.id.in_([event.id for event in fresh])).limit(1)
    ).scalar()
    if taken is not None:
        got = f"one that case {taken} has"
        raise InputError(Problem(Place(f"case {case}"), "events of its own", got))
    if known and any(isinstance(event.what, Opened) for event in fresh):
        raise InputError(Problem(Place(f"case {case}"), "one opening", "a second one"))


def _row(case: str, number: int, event: Event) -> dict[str, object]:
    return {
        "case": case,
        "number": number,
        "id": event.id,
        "at": _when(event.at),
        "who": event.who,
        "kind": event.what.kind,
        "body": event.model_dump_json(by_alias=True),
    }


def _note_down(connection: Connection, state: State) -> None:
    """What lists and searches want to know of a case."""
    columns = _columns(entry_of(state))
    connection.execute(cases.update().where(cases.c.case == state.id).values(columns))
    said = {"id": state.id, "said": words_of(state)}
    connection.execute(text('DELETE FROM words WHERE "case" = :id'), said)
    connection.execute(text('INSERT INTO words ("case", said) VALUES (:id, :said)'), said)


def _columns(entry: Entry) -> dict[str, object]:
    return {
        "case": entry.case,
        "machine": entry.machine,
        "title": entry.title,
        "opened": _when(entry.opened),
        "last": _when(entry.last),
        "outcome": entry.outcome,
        "causes": json.dumps(entry.causes),
        "rows_failed": json.dumps(entry.rows_failed),
        "minutes": entry.minutes,
    }


def _entry(row: RowMapping) -> Entry:
    return Entry(
        row["case"],
        row["machine"],
        row["title"],
        datetime.fromisoformat(row["opened"]),
        datetime.fromisoformat(row["last"]),
        row["outcome"],
        tuple(json.loads(row["causes"])),
        tuple(json.loads(row["rows_failed"])),
        row["minutes"],
    )


def _when(at: datetime) -> str:
    """A time as text that sorts as time does."""
    return at.astimezone(UTC).isoformat(timespec="microseconds")
