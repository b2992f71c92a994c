"""A few whole processes killed; `tests.bench.kills` kills thousands."""

from __future__ import annotations

import pytest

from tests.bench.kills import kills
from tests.store.conftest import Server


@pytest.mark.slow
def test_killed_programs_lose_nothing_that_they_acknowledged() -> None:
    assert kills(None, 8, seed=2, report=False) == []


@pytest.mark.slow
def test_killed_programs_and_servers_lose_nothing_that_was_acknowledged(server: Server) -> None:
    assert kills(server, 4, seed=5, report=False) == []
