"""Both databases through one fixture: every test of the store runs on either."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from diagnose.store.casebook import Casebook, open_casebook
from tests.store.cluster import Cluster, programs, started


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """A PostgreSQL server for the whole run."""
    at = programs()
    if at is None:
        pytest.skip("PostgreSQL is not installed")
    with started(at) as running:
        yield running


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of a casebook that is not there yet."""
    if request.param == "sqlite":
        return str(tmp_path / "casebook.db")
    running: Cluster = request.getfixturevalue("cluster")
    return running.database()


@pytest.fixture
def casebook(url: str) -> Iterator[Casebook]:
    """An empty casebook."""
    with open_casebook(url) as opened:
        yield opened
