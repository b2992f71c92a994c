"""A conversation outlives the server's back ends, and a server that stops and comes back."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime

import psycopg
import pytest

from diagnose.knowledge.base import load_knowledge
from diagnose.store import server as servers
from diagnose.store.casebook import open_casebook
from diagnose.ui.cli.work import Conversation
from diagnose.ui.terminal.bench import Bench
from diagnose.ui.terminal.output import console
from tests.store.conftest import Server

LINES = ["54C 62bar", "6", "", "", "", "quit"]


class Scripted:
    """Gives lines in order, and does something before some of them."""

    def __init__(self, before: Mapping[int, Callable[[], None]]) -> None:
        self.before, self.given = before, 0

    def line(self) -> str | None:
        """The next line; Enter as often as it takes."""
        self.before.get(self.given, lambda: None)()
        self.given += 1
        return LINES[self.given - 1] if self.given <= len(LINES) else None


def talked(url: str, before: Mapping[int, Callable[[], None]]) -> list[str]:
    bench = Bench(console(False))
    with open_casebook(url, tell=bench.say) as casebook:
        talk = Conversation(
            casebook, load_knowledge(), "Ann", bench, Scripted(before), lambda: datetime.now(UTC)
        )
        case = talk.open("mounted-6")
        talk.hold(case)
    with open_casebook(url) as casebook:
        return [event.what.kind for event in casebook.events(case)]


@pytest.mark.slow
def test_a_back_end_that_is_killed_loses_no_line(
    server: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    url = server.new_database()

    def kill() -> None:
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )

    assert talked(url, {0: kill, 1: kill}) == ["opened", "circumstances", "run"]
    said = " ".join(capsys.readouterr().out.split())
    assert "what you entered is kept" in said
    assert "Traceback" not in said


@pytest.mark.slow
def test_a_casebook_that_stays_away_is_tried_again_when_somebody_says(
    server: Server, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    url = server.new_database()
    monkeypatch.setattr(servers, "RETURN_SECONDS", 0.3)
    name = url.rpartition("/")[2]

    def admin(*commands: str) -> None:
        where = url.replace(name, "postgres")
        with psycopg.connect(where, autocommit=True) as connection:
            for command in commands:
                connection.execute(command.encode())

    def away() -> None:
        admin(
            f"ALTER DATABASE {name} ALLOW_CONNECTIONS false",
            f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'",
        )

    def back() -> None:
        admin(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true")

    assert talked(url, {1: away, 3: back}) == ["opened", "circumstances", "run"]
    said = " ".join(capsys.readouterr().out.split())
    assert "Your answer '6' is not lost. Press Enter to try again, or type quit." in said
