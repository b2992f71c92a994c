"""Pages, made once for all tests that look at them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from tests.ui.html.pages import PAGES


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Path]:
    """Every page as a file."""
    folder = tmp_path_factory.mktemp("pages")
    made = {name: folder / f"{name}.html" for name in PAGES}
    for name, path in made.items():
        path.write_text(PAGES[name](), encoding="utf-8")
    return made
