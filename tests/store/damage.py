"""Damages a casebook's file or an archive by chance, and says what somebody would then see.

Whatever was damaged, what is read is what was stored, or an error says where it is not.
"""

from __future__ import annotations

import contextlib
import json
import random
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from diagnose.errors import Damaged, RowfaultError
from diagnose.knowledge.base import Knowledge
from diagnose.observations.archive import read_story, story_text
from diagnose.observations.entries import Event
from diagnose.record import record
from diagnose.store.casebook import Casebook, open_casebook
from tests.store import older

VALUES = ("", "x", "0", 0, 1, -1, 7.5, None, b"\xff\xfe", "P" * 50, "2026-03-01", "[1]", "é\n")

TABLES = ("cases", "events", "drills", "words", "players", "alembic_version")


@record
class Sight:
    """What is seen of a casebook: its list, its stories, its drills; what was said of damage."""

    listed: tuple[Any, ...]
    stories: tuple[tuple[str, tuple[Event, ...]], ...]
    drills: tuple[Any, ...]
    found: tuple[str, ...]
    said: tuple[str, ...] = ()


def sound(folder: Path) -> Path:
    """A casebook with three cases and two drills; closed, so that all is in its file."""
    file = folder / "sound.sqlite"
    with open_casebook(f"sqlite:///{file}") as casebook:
        for story in (older.proven(), older.handed_over(), older.still_open()):
            casebook.merge(story)
        for who in ("Ann", "Ben"):
            casebook.keep_drill(older.done(who))
    return file


def seen(file: Path) -> Sight:
    """What is seen of a casebook. Raises nothing but errors that are no `RowfaultError`."""
    said: list[str] = []
    try:
        with open_casebook(f"sqlite:///{file}") as casebook:
            return _seen(casebook, said)
    except RowfaultError as error:
        return Sight((), (), (), (), (*said, str(error)))


def _seen(casebook: Casebook, said: list[str]) -> Sight:
    def tried(ask: Callable[[], Sequence[Any]]) -> tuple[Any, ...]:
        try:
            return tuple(ask())
        except Damaged as damaged:
            said.append(str(damaged))
            return damaged.whole
        except RowfaultError as error:
            said.append(str(error))
            return ()

    ids = sorted(tried(casebook.ids))
    return Sight(
        tried(casebook.entries),
        tuple((each, tried(partial(casebook.events, each))) for each in ids),
        tried(lambda: [*casebook.drills("Ann"), *casebook.drills("Ben")]),
        tuple(entry.case for entry in tried(lambda: casebook.entries(_words("rides")))),
        tuple(said),
    )


def _words(text: str) -> Any:
    from diagnose.store.entry import Wanted

    return Wanted(text=text)


def is_false(before: Sight, after: Sight) -> bool:
    """Whether something else is seen than what was stored, and nobody says so.

    Where damage is said, what is shown all the same must be a part of what was stored: stories
    from their beginning, lists and drills without what is damaged.
    """
    if not after.said:
        return after != before
    stories = dict(before.stories)
    return not (
        all(stories.get(id, ())[: len(story)] == story for id, story in after.stories)
        and set(after.listed) <= set(before.listed)
        and {drill.id for drill in after.drills} <= {drill.id for drill in before.drills}
    )


def damage(file: Path, rng: random.Random) -> str:
    """Damage a casebook's file in one way; which."""
    ways = (flipped, flipped, cut_off, wiped, edited, edited, edited, mistyped, lost)
    way = rng.choice(ways)
    return f"{way.__name__} {way(file, rng)}"


def flipped(file: Path, rng: random.Random) -> str:
    raw = bytearray(file.read_bytes())
    places = [rng.randrange(len(raw)) for _ in range(rng.choice((1, 1, 1, 4, 32)))]
    for place in places:
        raw[place] ^= rng.randrange(1, 256)
    file.write_bytes(raw)
    return str(places)


def cut_off(file: Path, rng: random.Random) -> str:
    size = rng.randrange(file.stat().st_size)
    with file.open("r+b") as stream:
        stream.truncate(size)
    return str(size)


def wiped(file: Path, rng: random.Random) -> str:
    raw = bytearray(file.read_bytes())
    first = rng.randrange(0, len(raw), 512)
    raw[first : first + 512] = bytes(len(raw[first : first + 512]))
    file.write_bytes(raw)
    return str(first)


def edited(file: Path, rng: random.Random) -> str:
    """One column of one row, given another value."""

    def edit(connection: sqlite3.Connection) -> str:
        table = rng.choice(TABLES)
        columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
        column, value = rng.choice(columns), rng.choice(VALUES)
        row = rng.choice(connection.execute(f"SELECT rowid FROM {table}").fetchall())[0]
        said = f'UPDATE {table} SET "{column}" = ? WHERE rowid = ?'
        connection.execute(said, [value, row])
        return f"{table}.{column} of row {row}: {value!r}"

    return _changed(file, edit)


def mistyped(file: Path, rng: random.Random) -> str:
    """One value in a stored body, given another type."""

    def edit(connection: sqlite3.Connection) -> str:
        rows = connection.execute("SELECT rowid, body FROM events").fetchall()
        row, body = rng.choice(rows)
        data = json.loads(body)
        inside = rng.choice([data, data["what"]])
        name = rng.choice(sorted(inside))
        inside[name] = rng.choice([7, -1.5, None, "x", [], {}, True])
        said = "UPDATE events SET body = ? WHERE rowid = ?"
        connection.execute(said, [json.dumps(data), row])
        return f"{name} of row {row}"

    return _changed(file, edit)


def lost(file: Path, rng: random.Random) -> str:
    """One row that is not there any more."""

    def edit(connection: sqlite3.Connection) -> str:
        table = rng.choice(TABLES[:-1])
        row = rng.choice(connection.execute(f"SELECT rowid FROM {table}").fetchall())[0]
        connection.execute(f"DELETE FROM {table} WHERE rowid = ?", [row])
        return f"{table} row {row}"

    return _changed(file, edit)


def _changed(file: Path, edit: Callable[[sqlite3.Connection], str]) -> str:
    """Edit a casebook without its checks, where what is there allows it."""
    connection = sqlite3.connect(file)
    said = ""
    with contextlib.suppress(sqlite3.IntegrityError), connection:
        said = edit(connection)
    connection.close()
    return said


def trial(file: Path, before: Sight, seed: int) -> str | None:
    """Damage a copy of a casebook; what was wrong with what was then seen, if anything was."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "casebook.sqlite"
        shutil.copy(file, copy)
        what = damage(copy, random.Random(seed))
        raw = copy.read_bytes()
        try:
            after = seen(copy)
        except Exception as error:
            return f"seed {seed}: {what}: {type(error).__name__}: {error}"
        if is_false(before, after):
            return f"seed {seed}: {what}: silently different; said {after.said}"
        if after.said and copy.read_bytes() != raw:
            return f"seed {seed}: {what}: the file was changed; said {after.said}"
    return None


def archive_trial(story: Sequence[Event], knowledge: Knowledge, seed: int) -> str | None:
    """Damage a copy of an archive; what was wrong with what was then read, if anything was."""
    rng = random.Random(seed)
    what, raw = _spoiled(story_text(story).encode(), rng)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "case.yaml"
        file.write_bytes(raw)
        try:
            read = list(read_story(file, knowledge))
        except RowfaultError as error:
            return None if str(file) in str(error) else f"seed {seed}: {what}: no place: {error}"
        except Exception as error:
            return f"seed {seed}: {what}: {type(error).__name__}: {error}"
    return None if read == list(story) else f"seed {seed}: {what}: silently different"


def _spoiled(raw: bytes, rng: random.Random) -> tuple[str, bytes]:
    """An archive with bytes changed, cut off, or lines lost, doubled, exchanged or edited."""
    lines = raw.splitlines(keepends=True)
    place, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    way = rng.choice(("flip", "cut", "lose", "double", "exchange", "edit", "edit"))
    if way == "flip":
        spoiled = bytearray(raw)
        spoiled[rng.randrange(len(raw))] ^= rng.randrange(1, 256)
        return way, bytes(spoiled)
    if way == "cut":
        return way, raw[: rng.randrange(len(raw))]
    if way == "lose":
        del lines[place : place + rng.randrange(1, 12)]
    elif way == "double":
        lines.insert(other, lines[place])
    elif way == "exchange":
        lines[place], lines[other] = lines[other], lines[place]
    else:
        name, colon, _ = lines[place].partition(b":")
        value = rng.choice((b"7", b"x", b"null", b"[]", b"{}", b"0001-01-01T00:00:00+14:00", b"''"))
        lines[place] = name + colon + b" " + value + b"\n"
    return f"{way} {place} {other}", b"".join(lines)
