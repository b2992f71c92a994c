"""A browser and what checks pages, once for all tests that look at pages."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.ui.browser import CHROMIUM, DRIVER, TOOLS, Browser, browsing


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A browser; where none is installed its tests are skipped."""
    if not CHROMIUM or not DRIVER:
        pytest.skip("no chromium and chromedriver here")
    with browsing(tmp_path_factory.mktemp("profile")) as window:
        yield window


@pytest.fixture(scope="session")
def tools() -> Path:
    """Where npm installed what checks pages; skipped where nobody said where that is."""
    if not TOOLS:
        pytest.skip("ROWFAULT_TEST_TOOLS names no folder with axe-core and vnu-jar")
    return Path(TOOLS) / "node_modules"
