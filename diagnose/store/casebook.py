"""The casebook: cases and drills, kept as events in a database, and its state of health."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from types import TracebackType

from sqlalchemy import Connection, Engine, insert, select, text

from diagnose.errors import Damaged, InputError, Place, Problem, Unavailable, UnknownName
from diagnose.observations.encoding import FIRST
from diagnose.observations.entries import Event, Opened
from diagnose.observations.guard import check_appendable
from diagnose.observations.state import replay
from diagnose.paths import own_to_write
from diagnose.record import record
from diagnose.store.drills import add_drill, drills_of
from diagnose.store.engine import clear_errors, make_engine
from diagnose.store.entry import Entry, Wanted, entry_of, words_of
from diagnose.store.listing import damages, ids_of, listed, note_down, read_events, search_damages
from diagnose.store.reading import REMEDY, Kept
from diagnose.store.rows import case_row, cases, drills, event_row, events, sha256
from diagnose.store.schema import bring_up_to_date
from diagnose.store.server import Server, wait_for
from diagnose.training.record import Finished

VARIABLE = "ROWFAULT_CASEBOOK"
"""The URL of the casebook's database, where it is not the file in the user's data folder."""

FILE = "casebook.sqlite"

LAST = "last"
"""Stands for the case in which a person told something last."""

_SEE = "rowfault cases"


class Casebook:
    """Cases and drills in a database; use it in a ``with`` block, or close it.

    Every method raises `Unavailable` when the database cannot do what is asked, and `Damaged`, with
    what is whole, when what it holds is not what was stored.
    """

    def __init__(self, engine: Engine, tell: Callable[[str], None] | None = None) -> None:
        self._server = Server(engine, tell)
        self._read_before: dict[str, list[Kept]] = {}

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
        self._server.close()

    def begin(self, opening: Event) -> None:
        """Add a new case by its first event. Raises `InputError` when there is such a case.

        >>> from diagnose.observations.entries import new_event
        >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> with open_casebook("sqlite://") as casebook:
        ...     casebook.begin(opening)
        ...     casebook.begin(opening)  # doctest: +ELLIPSIS
        Traceback (most recent call last):
        diagnose.errors.InputError: case: expected a case of another id, got a second case ...
        """
        self.merge([opening], new=True)

    def add(self, case: str, *told: Event, seen: str | None = None) -> None:
        """Add events to a case. They are safe on the disk when this returns.

        An event that is there already is left as it is. ``seen`` is the last event that their
        giver knows of: nobody else can add anything between the look at it and the writing.
        Raises `UnknownName` when there is no such case, `InputError` for an event of another
        case, and as `diagnose.observations.guard.check_appendable` does.

        >>> from diagnose.observations.entries import Noted, new_event
        >>> note = new_event(Noted("hose chafed"), "A")
        >>> with open_casebook("sqlite://") as casebook:
        ...     casebook.begin(new_event(Opened(case="20260301-a", machine="mounted-6"), "A"))
        ...     casebook.add("20260301-a", note)
        ...     casebook.add("20260301-a", note)
        ...     print([event.what.kind for event in casebook.events("20260301-a")])
        ['opened', 'note']
        """

        def act(connection: Connection, _: bool) -> None:
            _hold(connection, case)
            known = self._events(connection, case)
            check_appendable(case, [each.event for each in known], told, seen)
            _append(connection, case, known, told)

        self._server.write(act)

    def merge(self, story: Sequence[Event], new: bool = False) -> int:
        """Add what a whole story tells beyond what is here; how many events that were.

        Raises `InputError` when it does not begin with an opening, when the case is here with
        another opening, or when it must be ``new`` and is here.

        >>> from diagnose.observations.entries import Noted, new_event
        >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> note = new_event(Noted("hose chafed"), "A")
        >>> with open_casebook("sqlite://") as casebook:
        ...     print([casebook.merge(story) for story in ([opening], [opening, note], [opening])])
        [1, 1, 0]
        """
        state = replay(story)
        added: set[str] = set()

        def act(connection: Connection, in_doubt: bool) -> None:
            here = _hold(connection, state.id, needed=False)
            known = self._events(connection, state.id) if here else []
            if known and ((new and not in_doubt) or known[0].event.id != story[0].id):
                got = f"a second case {state.id}"
                raise InputError(Problem(Place("case"), "a case of another id", got))
            if not here:
                connection.execute(insert(cases).values(case_row(entry_of(state))))
            added.update(_append(connection, state.id, known, story))

        self._server.write(act)
        return len(added)

    def events(self, case: str) -> tuple[Event, ...]:
        """The events of a case in the order in which they were added.

        Raises `UnknownName` when there is no such case.

        >>> with open_casebook("sqlite://") as casebook:
        ...     casebook.events("20260301-a")  # doctest: +ELLIPSIS
        Traceback (most recent call last):
        diagnose.errors.UnknownName: case: expected a case, got '20260301-a'...
        """

        def act(connection: Connection, _: bool) -> tuple[Event, ...]:
            kept = self._events(connection, case)
            if not kept:
                raise UnknownName(Place("case"), "a case", case, ids_of(connection), _SEE)
            return tuple(each.event for each in kept)

        return self._server.read(act)

    def find(self, name: str, who: str = "") -> str:
        """The id of a case by its id, by the unique beginning of it, or by ``last``.

        The last one is that in which ``who`` told something last. Raises `UnknownName` when there
        is none, `InputError` when there are several, or when that person told nothing yet.

        >>> from datetime import UTC, datetime
        >>> from diagnose.observations.entries import new_event
        >>> with open_casebook("sqlite://") as casebook:
        ...     for day, case in ((1, "20260301-a"), (2, "20260302-b")):
        ...         at = datetime(2026, 3, day, tzinfo=UTC)
        ...         casebook.begin(new_event(Opened(case=case, machine="mounted-6"), case[-1], at))
        ...     print(casebook.find("20260302"), casebook.find("last", "a"))
        20260302-b 20260301-a
        """
        ids = self.ids()
        if not ids:
            remedy = "open one with rowfault work MACHINE"
            raise InputError(Problem(Place("case"), "a case", "an empty casebook", remedy))
        if name in ids:
            return name
        if name == LAST:
            return self._server.read(lambda connection, _: _last_of(connection, who, ids[0]))
        near = [id for id in ids if name and id.startswith(name)]
        if len(near) > 1:
            several = ", ".join(near[:5]) + (" and more" if len(near) > 5 else "")
            raise InputError(Problem(Place("case"), "one case", f"{name}, which is {several}"))
        if not near:
            raise UnknownName(Place("case"), "a case", name, ids, _SEE)
        return near[0]

    def entries(self, wanted: Wanted | None = None) -> list[Entry]:
        """The cases that are wanted, the one in which something was told last first.

        >>> from diagnose.observations.entries import new_event
        >>> with open_casebook("sqlite://") as casebook:
        ...     for machine in ("mounted-6", "mounted-12"):
        ...         opening = Opened(case=f"20260301-{machine}", machine=machine)
        ...         casebook.begin(new_event(opening, "A"))
        ...     print([entry.case for entry in casebook.entries(Wanted(machine="mounted-6"))])
        ['20260301-mounted-6']
        """
        asked = wanted or Wanted()
        return self._server.read(lambda connection, _: listed(connection, asked))

    def ids(self) -> list[str]:
        """The ids of all cases, the one in which something was told last first."""
        return self._server.read(lambda connection, _: ids_of(connection))

    def keep_drill(self, done: Finished) -> None:
        """Keep a finished drill. It is safe on the disk when this returns."""

        def act(connection: Connection, in_doubt: bool) -> None:
            here = select(drills.c.id).where(drills.c.id == done.id)
            if not (in_doubt and connection.execute(here).scalar()):
                add_drill(connection, done)

        self._server.write(act)

    def drills(self, who: str) -> list[Finished]:
        """The drills that one person finished, the first one first; nobody else's.

        >>> done = Finished("Ann", "", "mounted-6", 1, 90, 80.0, True, ())
        >>> with open_casebook("sqlite://") as casebook:
        ...     casebook.keep_drill(done)
        ...     print(casebook.drills("Ann") == [done], casebook.drills("Ben"))
        True []
        """
        return self._server.read(lambda connection, _: drills_of(connection, who))

    def check(self) -> Health:
        """Read everything there is, and say what is not as it was stored.

        >>> with open_casebook("sqlite://") as casebook:
        ...     casebook.check().problems
        ()
        """
        return self._server.read(lambda connection, _: health(connection))

    def _events(self, connection: Connection, case: str) -> list[Kept]:
        """A case's events. Nothing is ever changed, so only those that are new are read."""
        kept = read_events(connection, case, self._read_before.get(case, []))
        self._read_before[case] = kept
        return kept


def open_casebook(
    url: str | None = None, tell: Callable[[str], None] | None = None, patience: float = 0.0
) -> Casebook:
    """The casebook at a URL, else at ``ROWFAULT_CASEBOOK``, else in the user's data folder.

    It is made when there is none yet, and brought up to date when it is from an older program; one
    that cannot be written is read only. Whoever passes ``tell`` is told, in one sentence, when the
    database was gone for a moment. A server that is not there yet is waited for ``patience``
    seconds. Raises `Unavailable`.
    """
    named = url or os.environ.get(VARIABLE)
    engine = make_engine(named or _file())
    try:
        wait_for(engine, patience)
        with clear_errors(engine):
            bring_up_to_date(engine)
    except BaseException:
        engine.dispose()
        raise
    return Casebook(engine, tell)


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
        raise UnknownName(Place("case"), "a case", case, ids_of(connection), _SEE)
    return False


def _last_of(connection: Connection, who: str, latest: str) -> str:
    """The case in which somebody told something last."""
    query = select(events.c.case).where(events.c.who == who).order_by(events.c.at.desc()).limit(1)
    case = connection.execute(query).scalar()
    if case is None:
        remedy = f"name one: {latest} is the latest, rowfault cases list shows them all"
        raise InputError(
            Problem(Place("case"), f"a case that {who or 'you'} worked on", "none yet", remedy)
        )
    return str(case)


def _append(
    connection: Connection, case: str, known: Sequence[Kept], told: Iterable[Event]
) -> list[str]:
    """Add the events that are not known yet, and note down what the case comes to; their ids."""
    before = [each.event for each in known]
    ids = {event.id for event in before}
    fresh = {event.id: event for event in told if event.id not in ids}
    if not fresh:
        return []
    _refuse_strangers(connection, case, before, list(fresh.values()))
    rows, head = [], known[-1].sha256 if known else FIRST
    for number, event in enumerate(fresh.values(), len(known) + 1):
        rows.append(event_row(case, number, event, head))
        head = str(rows[-1]["sha256"])
    connection.execute(insert(events), rows)
    note_down(connection, replay([*before, *fresh.values()]), len(known) + len(fresh), head)
    return list(fresh)


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
            kept = read_events(connection, case, [])
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
