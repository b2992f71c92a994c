"""Read YAML (and so JSON) strictly, in one pass, and remember the line of everything.

What YAML would silently turn into something else is refused: duplicate keys, ``off`` and
``yes`` without quotes, ``010``, ``12:30``, dates, tags, anchors and aliases.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import field
from pathlib import Path
from typing import Any

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from diagnose.errors import Place, Problem
from diagnose.knowledge.textfile import read_text_file, refused
from diagnose.knowledge.yamlnodes import HOLDER, PLAIN, QUOTED, compose
from diagnose.limits import LARGEST_YAML
from diagnose.record import record

LONGEST_NUMBER = 40
LARGEST_NUMBER = 1e100

_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
_LIKE_A_NUMBER = re.compile(
    r"[-+]?[0-9_.:]+|[-+]?0[xob][0-9a-fA-F_]+|[-+]?\.(inf|nan)|[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}.*",
    re.IGNORECASE,
)
NUMBER_STARTS = frozenset("+-.0123456789")
SWITCH_WORDS = frozenset(("yes", "no", "on", "off", "y", "n", "true", "false", "null"))
"""Words, in small letters, that must be in quotes to be text."""

_CONSTANTS: Mapping[str, bool | None] = {"true": True, "false": False, "null": None}
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
    _names: dict[int, Mapping[str, tuple[int, Node]]] = field(
        default_factory=dict, repr=False, compare=False
    )

    def place(self, path: Sequence[str | int] = ()) -> Place:
        r"""The place of the value at ``path``, or of the nearest thing around it.

        >>> document = read_text("rows: 6\nports:\n  - at: 1\n", "mine.yaml")
        >>> str(document.place(("ports", 0, "at")))
        'mine.yaml:3'
        """
        if self.root is None:
            return Place(self.source)
        node, line = self.root, _line(self.root)
        for step in path:
            found = self._child(node, step)
            if found is None:
                break
            line, node = found
        return Place(self.source, line)

    def _child(self, node: Node, step: str | int) -> tuple[int, Node] | None:
        """The line and the node of a value inside another; a name's line is where it stands."""
        if isinstance(node, MappingNode):
            if id(node) not in self._names:
                backwards = reversed(node.value)
                named = {
                    key.value: (_line(key), value)
                    for key, value in backwards
                    if isinstance(key, ScalarNode)
                }
                self._names[id(node)] = named
            return self._names[id(node)].get(str(step))
        if isinstance(node, SequenceNode) and isinstance(step, int) and 0 <= step < len(node.value):
            return _line(node.value[step]), node.value[step]
        return None


def read_file(path: Path | str, most: int = LARGEST_YAML) -> Document:
    """The file's data. Raises `FileProblems` when nothing can be read from it at all.

    Smaller faults (a duplicate key, an unquoted word) are in the document's ``problems``.

    >>> from diagnose.knowledge.places import shipped
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
    root = compose(text, source)
    if not isinstance(root, MappingNode):
        got = "nothing" if root is None else "a list" if isinstance(root, SequenceNode) else "text"
        raise refused(Place(source, 1), "names with values, such as 'id: valve'", got)
    reader = _Reader(source)
    data = reader.mapping(root)
    return Document(source, data, tuple(reader.problems), root)


class _Reader:
    """Turns nodes into plain data and collects what is wrong on the way."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.problems: list[Problem] = []

    def mapping(self, node: Node) -> dict[str, Any]:
        """A dict; of a name that is there twice it has the last value.

        >>> reader = _Reader("mine.yaml")
        >>> reader.mapping(compose("{rows: 6, rows: 8}", "mine.yaml")), reader.problems[0].got
        ({'rows': 8}, "a second 'rows'")
        """
        values: dict[str, Any] = {}
        lines: dict[str, int] = {}
        for key_node, value_node in node.value:
            key = self.key(key_node)
            if key in values:
                remedy = f"the first is in line {lines[key]}; keep one"
                self.wrong(key_node, "each name once", f"a second {key!r}", remedy)
            lines.setdefault(key, _line(key_node))
            values[key] = self.value(value_node)
        return values

    def key(self, node: Node) -> str:
        if not isinstance(node, ScalarNode):
            self.wrong(node, "a name before the colon", "a list or names with values")
            return ""
        value = self.scalar(node)
        if value is None or isinstance(value, bool):
            self.wrong(node, "a name before the colon", node.value or "nothing")
        return str(node.value)

    def value(self, node: Node) -> Any:
        if isinstance(node, ScalarNode):
            return self.scalar(node)
        if node.tag is not HOLDER:
            self.wrong(node, "no tags", node.tag, "leave the tag out")
        if isinstance(node, SequenceNode):
            return [self.value(child) for child in node.value]
        return self.mapping(node)

    def scalar(self, node: ScalarNode) -> Any:
        """What a scalar stands for; text where it is in quotes or could mislead.

        >>> reader = _Reader("mine.yaml")
        >>> written = (PLAIN, "0.5"), (QUOTED, "0.5"), (PLAIN, "true"), (PLAIN, "~"), (PLAIN, "a-b")
        >>> [reader.scalar(ScalarNode(tag, text)) for tag, text in written]
        [0.5, '0.5', True, None, 'a-b']
        """
        text = node.value
        if node.tag is QUOTED:
            return text
        if node.tag is not PLAIN:
            self.wrong(node, "no tags", node.tag, "leave the tag out")
            return text
        if text[:1] in NUMBER_STARTS:
            return self.number(node, text)
        if len(text) > len("false") or text.lower() not in SWITCH_WORDS:
            return None if text in ("", "~") else text
        if text in _CONSTANTS:
            return _CONSTANTS[text]
        self.wrong(node, "text in quotes, or true or false", text, f'write "{text}"')
        return text

    def number(self, node: ScalarNode, text: str) -> Any:
        """A number, or the text where it is not plainly one.

        >>> reader = _Reader("mine.yaml")
        >>> written = "12", "1e3", "010", "12:30", "3rd"
        >>> [reader.number(ScalarNode(PLAIN, text), text) for text in written]
        [12, 1000.0, '010', '12:30', '3rd']
        >>> [problem.got for problem in reader.problems]
        ['010', '12:30']
        """
        match = _NUMBER.fullmatch(text) if len(text) <= LONGEST_NUMBER else None
        if match:
            number = int(text) if match.lastindex is None else float(text)
            if abs(number) < LARGEST_NUMBER:
                return number
        if match or _LIKE_A_NUMBER.fullmatch(text):
            short = text[:LONGEST_NUMBER]
            remedy = f'if it is text write "{short}"'
            self.wrong(node, "a plain number such as 12 or 0.5", short, remedy)
        return text

    def wrong(self, node: Node, expected: str, got: str, remedy: str = "") -> None:
        self.problems.append(Problem(Place(self.source, _line(node)), expected, got, remedy))


def _line(node: Node) -> int:
    return node.start_mark.line + 1 if node.start_mark else 1


def _joined_pair(match: re.Match[str]) -> str:
    high, low = int(match[1], 16), int(match[2], 16)
    return f"\\U{0x10000 + ((high - 0xD800) << 10) + (low - 0xDC00):08x}"
