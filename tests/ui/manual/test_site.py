"""The site looks right on a phone and on a desk, light and dark."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from diagnose.ui.cli.manual import write_folder
from diagnose.ui.manual.site import html_files
from tests.ui.browser import WIDE, Browser
from tests.ui.manual.catalogued import CATALOGUE

pytestmark = pytest.mark.slow  # a browser is started

LOOKED_AT = [
    "index",
    "guides/tutorial",
    "guides/inference",
    "commands/rank",
    "modes/valve.coil_open",
    "part-kinds/valve",
    "rules/oil-cold",
    "layouts/folding-48",
    "words/noisy-OR",
]


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site") / "manual"
    write_folder(folder, html_files(CATALOGUE))
    return folder


@pytest.mark.parametrize(("width", "dark"), [(360, False), (1280, True)])
@pytest.mark.parametrize("name", LOOKED_AT)
def test_nothing_reaches_beyond_the_edge(
    name: str, width: int, dark: bool, site: Path, browser: Browser
) -> None:
    browser.look(site / f"{name}.html", width, dark)
    wider, over = browser.run(WIDE)
    # Code scrolls inside its own frame, so that its columns stay columns.
    assert (wider, [each for each in over if not each.startswith("CODE")]) == (0, [])


@pytest.mark.parametrize(("width", "dark"), [(360, False), (1280, True)])
@pytest.mark.parametrize("name", LOOKED_AT)
def test_nothing_serious_stands_in_the_way_of_anybody(
    name: str, width: int, dark: bool, site: Path, browser: Browser, tools: Path
) -> None:
    axe = (tools / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
    browser.look(site / f"{name}.html", width, dark)
    assert browser.findings(axe) == []


def test_pages_are_valid_html(site: Path, tools: Path) -> None:
    """By the Nu Html Checker, on every page."""
    checker = tools / "vnu-jar" / "build" / "dist" / "vnu.jar"
    command = ["java", "-jar", str(checker), "--Werror", "--skip-non-html", str(site)]
    found = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (found.stderr, found.returncode) == ("", 0)
