"""Pages and a browser, made once for all tests that look at them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from tests.faces.report.browser import CHROMIUM, DRIVER, TOOLS, Browser, browsing
from tests.faces.report.pages import PAGES


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Path]:
    """Every page as a file."""
    folder = tmp_path_factory.mktemp("pages")
    made = {name: folder / f"{name}.html" for name in PAGES}
    for name, path in made.items():
        path.write_text(PAGES[name](), encoding="utf-8")
    return made


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
