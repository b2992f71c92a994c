"""Read YAML (and so JSON) strictly, in one pass, and remember the line of everything.

What YAML would silently turn into something else is refused: duplicate keys, ``off`` and
``yes`` without quotes, ``010``, ``12:30``, dates, tags, anchors and aliases. The C parser of
PyYAML is used where it is built in, the Python one otherwise; they answer the same.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml
from yaml.composer import Composer
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode
from yaml.parser import Parser
from yaml.reader import Reader, ReaderError
from yaml.scanner import Scanner

from diagnose.errors import FileProblems, Place, Problem

try:
    from yaml.cyaml import CParser
except ImportError:
    CParser = None

Step = str | int

LARGEST_BYTES = 1_000_000
DEEPEST = 40

_PLAIN, _QUOTED, _HOLDER = "plain", "quoted", "holder"
_NUMBER = re.compile(r"-?(?:0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
_LIKE_A_NUMBER = re.compile(
    r"[-+]?[0-9_.:]+|[-+]?0[xob][0-9a-fA-F_]+|[-+]?\.(inf|nan)|[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}.*",
    re.IGNORECASE,
)
_NUMBER_STARTS = frozenset("+-.0123456789")
_SWITCH_WORDS = frozenset("yes no on off y n true false null".split())
_JSON_PAIR = re.compile(r"\\u([dD][89abAB][0-9a-fA-F]{2})\\u([dD][c-fC-F][0-9a-fA-F]{2})")


@dataclass(frozen=True)
class Document:
    """One file as plain data, with what was wrong in it and the line of every value.

    ``data`` holds dicts with text keys, lists, text, numbers, true, false and None.
    """

    source: str
    data: dict[str, Any]
    problems: tuple[Problem, ...] = ()
    root: Node | None = field(default=None, repr=False)

    def place(self, path: Sequence[Step] = ()) -> Place:
        """The place of the value at ``path``, or of the nearest thing around it.

        >>> document = read_text("rows: 6\\nports:\\n  - at: 1\\n", "mine.yaml")
        >>> str(document.place(("ports", 0, "at")))
        'mine.yaml:3'
        """
        node, line = self.root, self.root.start_mark.line if self.root else 0
        for step in path:
            found = _child(node, step)
            if found is None:
                break
            line, node = found
        return Place(self.source, line + 1)


def read_file(path: Path | str) -> Document:
    """The file's data. Raises `FileProblems` when nothing can be read from it at all.

    Smaller faults (a duplicate key, an unquoted word) are in the document's ``problems``.
    """
    source = str(path)
    try:
        with Path(path).open("rb") as stream:
            raw = stream.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise _refused(Place(source), "a file that can be read", _reason(error)) from error
    if len(raw) > LARGEST_BYTES:
        raise _refused(Place(source), f"at most {LARGEST_BYTES:,} bytes", "more", "split the file")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        got = f"byte 0x{raw[error.start]:02x}"
        raise _refused(Place(source, line), "text in UTF-8", got, "save it as UTF-8") from error
    return read_text(text, source)


def read_text(text: str, source: str) -> Document:
    """The same for text in hand; ``source`` is the name that messages give it.

    >>> read_text("rows: 6\\nfeed: star", "mine.yaml").data
    {'rows': 6, 'feed': 'star'}
    >>> print(*read_text("engine: off", "mine.yaml").problems)
    mine.yaml:1: expected text in quotes, or true or false, got off; write "off"
    """
    if text.lstrip()[:1] == "{":
        text = _JSON_PAIR.sub(_joined_pair, text)
    root = _composed(text, source)
    if not isinstance(root, MappingNode):
        got = "nothing" if root is None else "a list" if isinstance(root, SequenceNode) else "text"
        raise _refused(Place(source, 1), "names with values, such as 'id: valve'", got)
    reader = _Reader(source)
    data = reader.mapping(root)
    return Document(source, data, tuple(reader.problems), root)


class _Resolver:
    """Marks every scalar as plain or quoted, and refuses what is nested too deep."""

    depth = 0

    def resolve(self, kind: type, value: str | None, implicit: Any) -> str:
        if kind is ScalarNode:
            return _PLAIN if implicit[0] else _QUOTED
        return _HOLDER

    def descend_resolver(self, parent: Node | None, index: Any) -> None:
        self.depth += 1
        if self.depth > DEEPEST and parent is not None:
            raise yaml.MarkedYAMLError(problem="deeper nesting", problem_mark=parent.start_mark)

    def ascend_resolver(self) -> None:
        self.depth -= 1


class _PythonComposer(_Resolver, Reader, Scanner, Parser, Composer):
    def __init__(self, text: str) -> None:
        Reader.__init__(self, text)
        Scanner.__init__(self)
        Parser.__init__(self)
        Composer.__init__(self)


if CParser is None:
    _StrictComposer: Any = _PythonComposer
else:

    class _CComposer(_Resolver, CParser):
        pass

    _StrictComposer = _CComposer


def _composed(text: str, source: str) -> Node | None:
    try:
        if "&" in text or "*" in text:
            _refuse_aliases(text, source)
        node: Node | None = _StrictComposer(text).get_single_node()
        return node
    except UnicodeEncodeError as error:
        got = f"character {_code(text[error.start])}"
        raise _refused(Place(source), "text in Unicode", got) from error
    except ReaderError as error:
        got = f"character {_code(error.character)}"
        line = text.count("\n", 0, error.position) + 1
        raise _refused(Place(source, line), "text that can be printed", got) from error
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else None
        if "single document" in str(error.context):
            raise _refused(Place(source, line), "one document in the file", "a second") from error
        if error.problem == "deeper nesting":
            expected = f"at most {DEEPEST} levels of nesting"
            raise _refused(Place(source, line), expected, "more levels") from error
        remedy = "look at indentation, colons and quotes here and in the line above"
        got = f"a fault in the writing ({error.problem})"
        raise _refused(Place(source, line), "readable YAML", got, remedy) from error


def _refuse_aliases(text: str, source: str) -> None:
    for event in yaml.parse(text, Loader=_StrictComposer):
        if getattr(event, "anchor", None):
            line = event.start_mark.line + 1
            remedy = "write the value out, or put it in quotes if it is text"
            raise _refused(Place(source, line), "no & and * references", event.anchor, remedy)


class _Reader:
    """Turns nodes into plain data and collects what is wrong on the way."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.problems: list[Problem] = []

    def mapping(self, node: Node) -> dict[str, Any]:
        values: dict[str, Any] = {}
        lines: dict[str, int] = {}
        for key_node, value_node in node.value:
            key = self.key(key_node)
            if key in values:
                remedy = f"the first is in line {lines[key]}; keep one"
                self.wrong(key_node, "each name once", f"a second {key!r}", remedy)
            lines.setdefault(key, key_node.start_mark.line + 1)
            values[key] = self.value(value_node)
        return values

    def key(self, node: Node) -> str:
        if not isinstance(node, ScalarNode):
            self.wrong(node, "a name before the colon", "a list or names with values")
            return str(node.start_mark.line)
        if not isinstance(self.scalar(node), str) and not _NUMBER.fullmatch(node.value):
            self.wrong(node, "a name before the colon", node.value or "nothing")
        return str(node.value)

    def value(self, node: Node) -> Any:
        if isinstance(node, ScalarNode):
            return self.scalar(node)
        if node.tag is not _HOLDER:
            self.wrong(node, "no tags", node.tag, "leave the tag out")
        if isinstance(node, SequenceNode):
            return [self.value(child) for child in node.value]
        return self.mapping(node)

    def scalar(self, node: ScalarNode) -> Any:
        text = node.value
        if node.tag is _QUOTED:
            return text
        if node.tag is not _PLAIN:
            self.wrong(node, "no tags", node.tag, "leave the tag out")
            return text
        if text[:1] in _NUMBER_STARTS and text:
            return self.number(node, text)
        if len(text) > 5 or text.lower() not in _SWITCH_WORDS:
            return None if text in ("", "~") else text
        if text in _CONSTANTS:
            return _CONSTANTS[text]
        self.wrong(node, "text in quotes, or true or false", text, f'write "{text}"')
        return text

    def number(self, node: ScalarNode, text: str) -> Any:
        match = _NUMBER.fullmatch(text) if len(text) <= 40 else None
        if match:
            number = int(text) if match.lastindex is None else float(text)
            if abs(number) < 1e100:
                return number
        if match or _LIKE_A_NUMBER.fullmatch(text):
            remedy = f'if it is text write "{text[:40]}"'
            self.wrong(node, "a plain number such as 12 or 0.5", text[:40], remedy)
        return text

    def wrong(self, node: Node, expected: str, got: str, remedy: str = "") -> None:
        place = Place(self.source, node.start_mark.line + 1)
        self.problems.append(Problem(place, expected, got, remedy))


_CONSTANTS: dict[str, bool | None] = {"true": True, "false": False, "null": None}


def _child(node: Node | None, step: Step) -> tuple[int, Node] | None:
    if isinstance(node, MappingNode):
        for key, value in node.value:
            if key.value == str(step):
                return key.start_mark.line, value
    if isinstance(node, SequenceNode) and isinstance(step, int) and 0 <= step < len(node.value):
        return node.value[step].start_mark.line, node.value[step]
    return None


def _joined_pair(match: re.Match[str]) -> str:
    high, low = int(match[1], 16), int(match[2], 16)
    return f"\\U{0x10000 + ((high - 0xD800) << 10) + (low - 0xDC00):08x}"


def _code(character: str | int | bytes) -> str:
    code = character if isinstance(character, int) else ord(character)
    return f"U+{code:04X}"


def _reason(error: OSError | ValueError) -> str:
    reason = error.strerror if isinstance(error, OSError) else str(error)
    return (reason or str(error)).lower()


def _refused(where: Place, expected: str, got: str, remedy: str = "") -> FileProblems:
    return FileProblems([Problem(where, expected, got, remedy)])
