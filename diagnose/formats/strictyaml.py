"""Read YAML (and so JSON) strictly, in one pass, and remember the line of everything.

What YAML would silently turn into something else is refused: duplicate keys, ``off`` and
``yes`` without quotes, ``010``, ``12:30``, dates, tags, anchors and aliases.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diagnose.errors import Place, Problem
from diagnose.formats.textfile import read_text_file
from diagnose.record import record
from diagnose.tolerances import LARGEST_YAML

if TYPE_CHECKING:
    from yaml.nodes import Node

    from diagnose.formats.yamlnodes import NamedNode

_JSON_PAIR = re.compile(r"\\u([dD][89abAB][0-9a-fA-F]{2})\\u([dD][c-fC-F][0-9a-fA-F]{2})")


@record
class Document:
    """One file as plain data, with what was wrong in it and the line of every value.

    ``data`` holds dicts with text keys, lists, text, numbers, true, false and None.
    """

    source: str
    data: dict[str, Any]
    problems: tuple[Problem, ...] = ()
    root: Node | None = field(default=None, repr=False)
    _names: NamedNode = field(default_factory=dict, repr=False, compare=False)

    def place(self, path: Sequence[str | int] = ()) -> Place:
        r"""The place of the value at ``path``, or of the nearest thing around it.

        >>> document = read_text("rows: 6\nports:\n  - at: 1\n", "mine.yaml")
        >>> str(document.place(("ports", 0, "at")))
        'mine.yaml:3'
        """
        if self.root is None:
            return Place(self.source)
        from diagnose.formats.yamlnodes import child_of, line_of  # noqa: PLC0415

        node, line = self.root, line_of(self.root)
        for step in path:
            found = child_of(node, step, self._names)
            if found is None:
                break
            line, node = found
        return Place(self.source, line)


def read_file(path: Path | str, most: int = LARGEST_YAML) -> Document:
    """The file's data. Raises `FileProblems` when nothing can be read from it at all.

    Smaller faults (a duplicate key, an unquoted word) are in the document's ``problems``.

    >>> from diagnose.paths import shipped
    >>> read_file(shipped().setups / "parked.yaml").data["enter_minutes"]
    0
    """
    return read_text(read_text_file(path, most), str(path))


def read_text(text: str, source: str) -> Document:
    r"""The same for text in hand; ``source`` is the name that messages give it.

    >>> read_text("rows: 6\nfeed: star", "mine.yaml").data
    {'rows': 6, 'feed': 'star'}
    >>> print(*read_text("engine: off", "mine.yaml").problems)
    mine.yaml:1: expected text in quotes, or true or false, got off; write "off"
    """
    if text.lstrip()[:1] == "{":
        text = _JSON_PAIR.sub(_joined_pair, text)
    from diagnose.formats.yamlnodes import read_nodes  # noqa: PLC0415

    root, data, problems = read_nodes(text, source)
    return Document(source, data, problems, root)


def _joined_pair(match: re.Match[str]) -> str:
    high, low = int(match[1], 16), int(match[2], 16)
    return f"\\U{0x10000 + ((high - 0xD800) << 10) + (low - 0xDC00):08x}"
