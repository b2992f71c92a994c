"""Pages look right on a phone and on a desk, light and dark, and on paper."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Mapping
from pathlib import Path

import pytest

from tests.ui.browser import CROSSED, SMALLEST, WIDE, Browser
from tests.ui.html.pages import PAGES

pytestmark = pytest.mark.slow  # a browser is started

Pages = Mapping[str, Path]
VIEWS = [(360, False), (360, True), (1280, False), (1280, True)]
REPORTS = [name for name in PAGES if name not in ("ready", "season")]


@pytest.mark.parametrize(("width", "dark"), VIEWS)
@pytest.mark.parametrize("name", PAGES)
def test_nothing_reaches_beyond_the_edge(
    name: str, width: int, dark: bool, pages: Pages, browser: Browser
) -> None:
    browser.look(pages[name], width, dark)
    assert browser.run(WIDE) == [0, []]


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", REPORTS)
def test_no_text_of_a_drawing_lies_on_another_or_is_cut(
    name: str, width: int, pages: Pages, browser: Browser
) -> None:
    browser.look(pages[name], width, False)
    assert browser.run(CROSSED) == []


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", REPORTS)
def test_drawings_are_not_made_smaller_to_fit(
    name: str, width: int, pages: Pages, browser: Browser
) -> None:
    browser.look(pages[name], width, False)
    assert browser.run(SMALLEST) >= 11


@pytest.mark.parametrize(("width", "dark"), [(360, False), (1280, True)])
@pytest.mark.parametrize("name", PAGES)
def test_nothing_serious_stands_in_the_way_of_anybody(
    name: str, width: int, dark: bool, pages: Pages, browser: Browser, tools: Path
) -> None:
    axe = (tools / "axe-core" / "axe.min.js").read_text(encoding="utf-8")
    browser.look(pages[name], width, dark)
    assert browser.findings(axe) == []


@pytest.mark.parametrize(("name", "first"), [("folding-24", "3"), ("folding-48", "1")])
def test_failed_rows_are_seen_without_scrolling(
    name: str, first: str, pages: Pages, browser: Browser
) -> None:
    browser.look(pages[name], 360, False)
    seen = browser.run(
        "return [...document.querySelectorAll('.strip li.fail')].filter("
        "row => row.getBoundingClientRect().bottom < innerHeight).map(row => row.innerText.trim())"
    )
    assert seen[0].split()[0] == first
    loud = browser.run("return document.querySelector('.loud').getBoundingClientRect().bottom")
    assert loud < 300


def test_no_script_of_a_user_runs(pages: Pages, browser: Browser) -> None:
    browser.look(pages["hostile"], 360, False)
    assert browser.run("return document.title") != "owned"
    assert browser.run("return document.querySelectorAll('script, img, iframe, a').length") == 0


@pytest.mark.parametrize(("wide", "high"), [(8.27, 11.69), (8.5, 11)])
@pytest.mark.parametrize("name", ["folding-48", "proven-mounted-12", "season"])
def test_a_page_prints_on_a4_and_letter(
    name: str, wide: float, high: float, pages: Pages, browser: Browser
) -> None:
    browser.look(pages[name], 1280, True)
    pdf = browser.printed(wide, high)
    boxes = re.findall(rb"/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]", pdf)
    assert pdf.startswith(b"%PDF")
    assert {(round(float(a) / 72, 1), round(float(b) / 72, 1)) for a, b in boxes} == {
        (round(wide, 1), round(high, 1))
    }


def test_pages_are_valid_html(pages: Pages, tools: Path) -> None:
    """By the Nu Html Checker, warnings among its complaints."""
    checker = tools / "vnu-jar" / "build" / "dist" / "vnu.jar"
    # Pages are well-formed XML too, and paint-order is a property of SVG 2 that it does not know.
    known = ".*(Trailing slash on void elements|“paint-order”).*"
    command = ["java", "-jar", str(checker), "--Werror", "--filterpattern", known]
    command += map(str, pages.values())
    found = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (found.stderr, found.returncode) == ("", 0)
