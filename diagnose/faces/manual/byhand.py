"""The pages that are written by hand: a tutorial, one page for each user, and the theory."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.resources import files

ORDER = ("tutorial", "technician", "dealer-support", "apprentice", "inference", "planning")
"""The guides in reading order, as their files are called."""

CODE = re.compile(r"`([^`\n]+)`")


def guides() -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Each guide's id, its text, and what it names as code.

    >>> [id for id, *_ in guides()][0]
    'tutorial'
    """
    folder = files("diagnose.faces.manual") / "guides"
    for id in ORDER:
        text = (folder / f"{id}.md").read_text(encoding="utf-8").rstrip()
        yield id, text, tuple(dict.fromkeys(CODE.findall(text)))
