"""A headless browser that looks at pages as a person with a phone or a desk would."""

from __future__ import annotations

import base64
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
TOOLS = os.environ.get("ROWFAULT_TEST_TOOLS", "")
"""A folder into which npm installed axe-core and vnu-jar, as .ci/run does."""

QUIET = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

CROSSED = """
return [...document.querySelectorAll('svg.drawing')].flatMap(svg => {
  const frame = svg.getBoundingClientRect();
  const boxes = [...svg.querySelectorAll('text')].map(text => {
    const b = text.getBoundingClientRect();
    return {says: text.textContent, l: b.left, r: b.right, t: b.top + 2, b: b.bottom - 2};
  });
  const out = boxes.filter(a => a.l < frame.left - 0.5 || a.r > frame.right + 0.5
    || a.t < frame.top - 2 || a.b > frame.bottom + 2).map(a => 'cut off: ' + a.says);
  const over = boxes.flatMap((a, i) => boxes.slice(i + 1)
    .filter(b => a.l < b.r - 0.5 && b.l < a.r - 0.5 && a.t < b.b && b.t < a.b)
    .map(b => a.says + ' over ' + b.says));
  return [...out, ...over];
});
"""
"""Texts of drawings that lie on each other, or that their drawing cuts off."""

SMALLEST = """
return Math.min(...[...document.querySelectorAll('svg.drawing text')].map(text =>
  parseFloat(getComputedStyle(text).fontSize) * text.getScreenCTM().a));
"""
"""The smallest type in a drawing as it is shown, in pixels."""

WIDE = """
const room = document.documentElement.clientWidth;
const over = [...document.body.querySelectorAll('*:not(.aside)')]
  .filter(each => each.getBoundingClientRect().right > room + 0.5 && !each.closest('.aside'))
  .map(each => each.tagName + ': ' + each.textContent.trim().slice(0, 40));
return [document.documentElement.scrollWidth - room, over];
"""
"""By how many pixels the page is wider than its window, and what reaches beyond the edge."""


class Browser:
    """One browser window of a chosen width, light or dark."""

    def __init__(self, driver: webdriver.Chrome) -> None:
        self.driver = driver

    def look(self, page: Path, width: int, dark: bool, height: int = 740) -> None:
        """Open a page from a file."""
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
        self._tell("Emulation.setDeviceMetricsOverride", metrics)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self._tell("Emulation.setEmulatedMedia", {"features": [scheme]})
        self.driver.get(page.resolve().as_uri())

    def run(self, script: str) -> Any:
        """What a script says of the page."""
        return self.driver.execute_script(script)

    def findings(self, axe: str) -> list[str]:
        """What axe-core finds serious or critical, and where."""
        self.driver.execute_script(axe)
        found = self.driver.execute_async_script(
            "const done = arguments[arguments.length - 1];"
            "axe.run(document, {resultTypes: ['violations']}).then(r => done(r.violations));"
        )
        return [
            f"{each['id']}: {node['html'][:200]}"
            for each in found
            if each["impact"] in ("serious", "critical")
            for node in each["nodes"][:3]
        ]

    def printed(self, wide: float, high: float) -> bytes:
        """The page as a PDF on paper of a size in inches."""
        options = {"paperWidth": wide, "paperHeight": high, "preferCSSPageSize": False}
        return base64.b64decode(self._tell("Page.printToPDF", options)["data"])

    def picture(self) -> bytes:
        """What is seen without scrolling, as PNG."""
        return base64.b64decode(self._tell("Page.captureScreenshot", {"format": "png"})["data"])

    def _tell(self, command: str, values: dict[str, Any]) -> Any:
        return self.driver.execute_cdp_cmd(command, values)


@contextmanager
def browsing(profile: Path) -> Iterator[Browser]:
    """A browser with a new, empty profile."""
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM or ""
    for argument in (*QUIET, f"--user-data-dir={profile}"):
        options.add_argument(argument)
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    try:
        yield Browser(driver)
    finally:
        driver.quit()
