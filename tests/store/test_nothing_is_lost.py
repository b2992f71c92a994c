"""What was acknowledged is there, whoever is killed and however many write at once."""

from __future__ import annotations

import random
import subprocess
import sys
import time

from sqlalchemy import select

from diagnose.store.casebook import Casebook, open_casebook
from diagnose.store.engine import address, connected
from diagnose.store.entry import entry_of
from diagnose.store.tables import EVENT
from diagnose.story.replay import replay
from tests.store.stories import opening

CASE = "20260301-small"


def writer(url: str, who: str, count: int) -> subprocess.Popen[str]:
    words = [sys.executable, "-m", "tests.store.writer", url, CASE, who, str(count)]
    return subprocess.Popen(words, stdout=subprocess.PIPE, text=True)


def sound(casebook: Casebook, url: str) -> list[str]:
    """The ids of the case's events in their order, once it is seen that all fit together."""
    events = casebook.events(CASE)
    assert casebook.entries() == [entry_of(replay(events))]
    engine = connected(address(url), 10)
    with engine.connect() as connection:
        numbers = connection.execute(select(EVENT.c.number).order_by(EVENT.c.number)).scalars()
        assert list(numbers) == list(range(1, len(events) + 1))
        if engine.dialect.name == "sqlite":
            checked = connection.exec_driver_sql("PRAGMA integrity_check").scalar()
            assert checked == "ok"
    engine.dispose()
    return [event.id for event in events]


def test_what_was_acknowledged_is_there_after_the_writer_was_killed(url: str) -> None:
    chance, first, killed = random.Random(11), opening(), 0
    ids = [first.id]
    with open_casebook(url) as casebook:
        casebook.begin(first)
    while len(ids) <= 200:
        with writer(url, "Ben", 201 - len(ids)) as running:
            assert running.stdout is not None
            for _ in range(chance.randint(1, 50)):
                ids += running.stdout.readline().split()
            time.sleep(chance.uniform(0, 0.01))
            running.kill()
            ids += running.stdout.read().split()
        killed += 1
    with open_casebook(url) as casebook:
        there = sound(casebook, url)
    unheard = set(there) - set(ids)
    assert [id for id in there if id not in unheard] == ids
    assert (killed > 3, len(unheard) <= killed) == (True, True)


def test_two_who_write_at_once_lose_nothing_and_keep_their_order(url: str) -> None:
    with open_casebook(url) as casebook:
        casebook.begin(opening())
        with writer(url, "Ben", 500) as one, writer(url, "Cleo", 500) as other:
            heard = [running.communicate()[0].split() for running in (one, other)]
        there = sound(casebook, url)
    assert (len(there), [len(ids) for ids in heard]) == (1001, [500, 500])
    for ids in heard:
        assert [id for id in there if id in set(ids)] == ids


def test_many_who_open_a_new_casebook_at_once_all_get_in(url: str) -> None:
    code = "import sys; from diagnose.store.casebook import open_casebook as o; o(sys.argv[1], 30)"
    words = [sys.executable, "-c", code, url]
    running = [subprocess.Popen(words) for _ in range(4)]
    assert [each.wait() for each in running] == [0, 0, 0, 0]
