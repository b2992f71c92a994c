"""The casebook: cases are begun, added to, read, listed, merged. What was told is never changed."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Self, TypeVar

from sqlalchemy import Connection, Engine, Select, func, insert, select, update
from sqlalchemy.engine import URL

from diagnose.errors import CasebookBusy, InputError, Place, Problem, UnknownName, quoted
from diagnose.store.engine import address, connected, writing
from diagnose.store.entry import (
    Entry,
    Wanted,
    entry_in,
    entry_of,
    kept,
    row_of,
    time_text,
    words_of,
)
from diagnose.store.search import found_by, index
from diagnose.store.tables import ENTRY, EVENT
from diagnose.store.troubles import told
from diagnose.store.versions import bring_up_to_date
from diagnose.story.event import Event, Opened
from diagnose.story.replay import replay

Answer = TypeVar("Answer")

PATIENCE = 10.0
"""Seconds that somebody else's writing is waited for."""

LAST = "last"
"""What stands for the case that was added to last."""

SEE = "rowfault cases list"


@dataclass(frozen=True)
class Merged:
    """What came of a story that was taken in: how many of its events are new here."""

    case: str
    new: bool
    added: int
    known: int


class Casebook:
    """Cases in a database; `open_casebook` opens one.

    Every method raises subclasses of `Unavailable` when the database refuses; what it refused is
    then not there, not even in part.

    >>> from diagnose.story.event import Noted, told
    >>> with open_casebook("sqlite://") as casebook:
    ...     casebook.begin(told(Opened(case="20260301-a", machine="mounted-6"), "A"))
    ...     casebook.add("20260301-a", told(Noted(text="hose chafed"), "B"))
    ...     [event.who for event in casebook.events("last")]
    ...     [entry.case for entry in casebook.entries(Wanted(text="chafed hose"))]
    ['A', 'B']
    ['20260301-a']
    """

    def __init__(self, engine: Engine, url: URL, patience: float) -> None:
        self._engine, self._url, self._patience = engine, url, patience

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def begin(self, opening: Event) -> None:
        """A new case, with the event that opens it; it is on the disk when this returns.

        Raises `InputError` when it opens nothing, or when there is such a case.
        """
        case = _opening(opening).case

        def write(connection: Connection) -> None:
            here = _events(connection, case)
            if here and here[0] != opening:
                where = Place(f"case {case}")
                raise InputError(Problem(where, "an id that is new", "one that is taken"))
            _merge(connection, (opening,))

        self._write(write)

    def add(self, case: str, *events: Event) -> None:
        """Add events to a case, all or none; they are on the disk when this returns.

        What is there already, in the same words, is not added again. Raises `UnknownName` when
        there is no such case, `InputError` when an event's id is another event's.
        """

        def write(connection: Connection) -> None:
            if not _locked(connection, case):
                raise self._unknown(connection, case)
            _append(connection, case, _events(connection, case), events)

        self._write(write)

    def merge(self, *stories: Sequence[Event]) -> list[Merged]:
        """Take whole stories in, all or none: new cases, and what is new of known ones.

        What is known of a case stays as it stands; new events come after it in their own order.
        Raises `InputError` when a case is on another machine here or an id is another event's.
        """
        return self._write(lambda connection: [_merge(connection, each) for each in stories])

    def events(self, case: str) -> tuple[Event, ...]:
        """What was told of a case, in the order in which it was added.

        ``case`` is as for `named`. Raises `UnknownName` and `InputError`.
        """

        def read(connection: Connection) -> tuple[Event, ...]:
            return _events(connection, case) or _events(connection, self._named(connection, case))

        return self._read(read)

    def named(self, case: str) -> str:
        """The id of a case by its id, by a beginning that only it has, or by ``last``.

        Raises `UnknownName` when there is none, `InputError` when there are several.
        """
        return self._read(lambda connection: self._named(connection, case))

    def entries(self, wanted: Wanted = Wanted()) -> list[Entry]:  # noqa: B008 (it is frozen)
        """The cases that are wanted, those that were added to last first."""
        statement = _listing(wanted, self._engine.dialect.name)
        return self._read(
            lambda connection: [entry_in(row._asdict()) for row in connection.execute(statement)]
        )

    def _named(self, connection: Connection, case: str) -> str:
        if case == LAST:
            found = connection.execute(_newest(select(ENTRY.c.case)).limit(1)).scalar()
            if found is None:
                raise UnknownName(Place("case"), "a case", case, (), SEE)
            return str(found)
        exactly = select(ENTRY.c.case).where(ENTRY.c.case == case)
        if connection.execute(exactly).scalar() is not None:
            return case
        beginning = select(ENTRY.c.case).where(ENTRY.c.case.startswith(case, autoescape=True))
        some = connection.execute(beginning.order_by(ENTRY.c.case).limit(3)).scalars().all()
        if not some or not case:
            raise self._unknown(connection, case)
        if len(some) == 1:
            return str(some[0])
        got = f"{quoted(case)}, with which several begin"
        remedy = f"write more of it: {', '.join(some)}"
        raise InputError(Problem(Place("case"), "the beginning of one case's id", got, remedy))

    def _unknown(self, connection: Connection, case: str) -> UnknownName:
        names = connection.execute(_newest(select(ENTRY.c.case)).limit(1000)).scalars()
        return UnknownName(Place("case"), "a case of the casebook", case, list(names), SEE)

    def _read(self, read: Callable[[Connection], Answer]) -> Answer:
        with told(self._url), self._engine.connect() as connection:
            return read(connection)

    def _write(self, write: Callable[[Connection], Answer]) -> Answer:
        """Do it in one transaction; when somebody else was quicker, again until patience ends."""
        until = time.monotonic() + self._patience
        while True:
            try:
                with told(self._url), writing(self._engine) as connection:
                    return write(connection)
            except CasebookBusy:
                if time.monotonic() > until:
                    raise
                time.sleep(0.01)


def open_casebook(url: str | None = None, patience: float = PATIENCE) -> Casebook:
    """The casebook at a URL or in a file, else where ``ROWFAULT_CASEBOOK`` says, else the user's.

    Its tables are made or brought up to date. ``patience`` is how many seconds somebody else's
    writing is waited for. Raises `InputError` for a URL that is none, and of `Unavailable`
    `CasebookBusy`, `CasebookFull`, `CasebookNewer`, `CasebookReadOnly`, `NotACasebook`,
    `DatabaseUnreachable`.
    """
    at = address(url)
    engine = connected(at, patience)
    casebook = Casebook(engine, at, patience)
    until = time.monotonic() + patience
    while True:
        try:
            with told(at):
                bring_up_to_date(engine, at)
            return casebook
        except CasebookBusy:
            if time.monotonic() > until:
                casebook.close()
                raise
            time.sleep(0.01)
        except BaseException:
            casebook.close()
            raise


def _opening(event: Event) -> Opened:
    if not isinstance(event.what, Opened):
        where = Place(f"event {event.id}")
        raise InputError(Problem(where, "the opening of a case", event.what.kind))
    return event.what


def _locked(connection: Connection, case: str) -> int | None:
    """The number of a case's entry, which nobody else writes to until the transaction ends."""
    number = select(ENTRY.c.number).where(ENTRY.c.case == case).with_for_update()
    found = connection.execute(number).scalar()
    return None if found is None else int(found)


def _events(connection: Connection, case: str) -> tuple[Event, ...]:
    bodies = select(EVENT.c.body).where(EVENT.c.case == case).order_by(EVENT.c.number)
    return tuple(Event.model_validate_json(body) for body in connection.execute(bodies).scalars())


def _merge(connection: Connection, story: Sequence[Event]) -> Merged:
    """Take one story in."""
    opening = _opening(story[0])
    case = opening.case
    number = _locked(connection, case)
    here = _events(connection, case) if number else ()
    if number is None:
        entry = row_of(entry_of(replay(story[:1])))
        connection.execute(insert(ENTRY).values(**entry))
    elif _opening(here[0]).machine != opening.machine:
        where, machine = Place(f"case {case}"), _opening(here[0]).machine
        remedy = "they are two cases; give one another id"
        raise InputError(Problem(where, f"the machine {machine}", opening.machine, remedy))
    added = _append(connection, case, here, story)
    return Merged(case, number is None, added, len(story) - added)


def _append(
    connection: Connection, case: str, here: tuple[Event, ...], events: Sequence[Event]
) -> int:
    """Add what is not here yet; how many that were."""
    known = {event.id: event for event in here}
    new: dict[str, Event] = {}
    for event in events:
        before = known.get(event.id) or new.get(event.id)
        if before is None:
            new[event.id] = event
        elif before != event:
            where = Place(f"case {case}, event {event.id}")
            raise InputError(Problem(where, "one event for an id", "two different ones"))
    if new:
        _refuse_ids_of_other_cases(connection, case, new)
        rows = [_row(case, n, e) for n, e in enumerate(new.values(), start=len(here) + 1)]
        connection.execute(insert(EVENT), rows)
        _sum_up(connection, case, (*here, *new.values()))
    return len(new)


def _refuse_ids_of_other_cases(connection: Connection, case: str, ids: Iterable[str]) -> None:
    wanted = list(ids)
    for start in range(0, len(wanted), 500):
        some = wanted[start : start + 500]
        taken = select(EVENT.c.id, EVENT.c.case).where(EVENT.c.id.in_(some))
        for id, other in connection.execute(taken):
            where = Place(f"case {case}, event {id}")
            remedy = "an event belongs to one case"
            raise InputError(Problem(where, "an id that is new", f"one of case {other}", remedy))


def _row(case: str, number: int, event: Event) -> dict[str, object]:
    return {
        "case": case,
        "number": number,
        "id": event.id,
        "at": time_text(event.at),
        "who": kept(event.who),
        "kind": event.what.kind,
        "body": event.model_dump_json(by_alias=True),
    }


def _sum_up(connection: Connection, case: str, events: Sequence[Event]) -> None:
    """Let the entry and the index say what the events say."""
    state = replay(events)
    change = update(ENTRY).where(ENTRY.c.case == case).values(**row_of(entry_of(state)))
    connection.execute(change)
    number = connection.execute(select(ENTRY.c.number).where(ENTRY.c.case == case)).scalar_one()
    index(connection, number, words_of(state))


def _listing(wanted: Wanted, dialect: str) -> Select[tuple[object, ...]]:
    statement: Select[tuple[object, ...]] = _newest(select(ENTRY))
    if wanted.open is not None:
        is_open = ENTRY.c.outcome == "open"
        statement = statement.where(is_open if wanted.open else ~is_open)
    if wanted.machine is not None:
        statement = statement.where(ENTRY.c.machine == wanted.machine)
    if wanted.cause is not None:
        cause = func.lower(ENTRY.c.causes)
        statement = statement.where(cause.contains(wanted.cause.lower(), autoescape=True))
    if wanted.since is not None:
        statement = statement.where(ENTRY.c.last >= wanted.since.isoformat())
    if wanted.text is not None:
        statement = statement.where(found_by(wanted.text, dialect))
    return statement if wanted.limit is None else statement.limit(wanted.limit)


def _newest(statement: Select[Answer]) -> Select[Answer]:
    return statement.order_by(ENTRY.c.last.desc(), ENTRY.c.number.desc())
