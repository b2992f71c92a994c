"""From YAML text to nodes that know their lines, and from those to plain data.

What is unreadable or unwise is refused. Only `strictyaml` imports this, when it has to: PyYAML is
slow to import, and not needed for files that were found sound before.

The C parser of PyYAML is used where it is built in, the Python one otherwise; they answer the
same. Tags are not resolved: a scalar is only told to be plain or quoted.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import islice
from typing import Any

import yaml
from yaml.composer import Composer
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode
from yaml.parser import Parser
from yaml.reader import Reader, ReaderError
from yaml.scanner import Scanner

from diagnose.errors import FileProblems, Place, Problem
from diagnose.formats.textfile import refused
from diagnose.tolerances import DEEPEST, MOST_VALUES

PLAIN, QUOTED, HOLDER = "plain", "quoted", "holder"
"""Tags of nodes: a scalar without quotes, one with quotes, a list or mapping."""

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

NamedNode = dict[int, Mapping[str, tuple[int, Node]]]
"""By the identity of a mapping's node, its names with their lines and values."""


def compose(text: str, source: str) -> Node | None:
    """The root node of the only document, None for an empty text. Raises `FileProblems`.

    >>> compose("rows: 6", "mine.yaml").value[0][1].value
    '6'
    """
    try:
        if "&" in text or "*" in text:
            _refuse_references(text, source)
        node: Node | None = COMPOSER(text).get_single_node()
    except ReaderError as error:
        line = text.count("\n", 0, error.position) + 1
        got = f"character {_code(error.character)}"
        raise refused(Place(source, line), "text that can be printed", got) from error
    except yaml.MarkedYAMLError as error:
        raise _unreadable(error, source) from error
    except (ValueError, OverflowError) as error:
        raise refused(Place(source), "text in Unicode", str(error)) from error
    return node


def read_nodes(text: str, source: str) -> tuple[Node, dict[str, Any], tuple[Problem, ...]]:
    """The root of a document, its plain data, and what is wrong in it. Raises `FileProblems`."""
    root = compose(text, source)
    if not isinstance(root, MappingNode):
        got = "nothing" if root is None else "a list" if isinstance(root, SequenceNode) else "text"
        raise refused(Place(source, 1), "names with values, such as 'id: valve'", got)
    reader = PlainData(source)
    data = reader.mapping(root)
    return root, data, tuple(reader.problems)


class PlainData:
    """Turns nodes into plain data and collects what is wrong on the way."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.problems: list[Problem] = []

    def mapping(self, node: Node) -> dict[str, Any]:
        """A dict; of a name that is there twice it has the last value.

        >>> reader = PlainData("mine.yaml")
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
            lines.setdefault(key, line_of(key_node))
            values[key] = self.value(value_node)
        return values

    def key(self, node: Node) -> str:
        """The text of a name before a colon."""
        if not isinstance(node, ScalarNode):
            self.wrong(node, "a name before the colon", "a list or names with values")
            return ""
        value = self.scalar(node)
        if value is None or isinstance(value, bool):
            self.wrong(node, "a name before the colon", node.value or "nothing")
        return str(node.value)

    def value(self, node: Node) -> Any:
        """What a node of any sort holds."""
        if isinstance(node, ScalarNode):
            return self.scalar(node)
        if node.tag is not HOLDER:
            self.wrong(node, "no tags", node.tag, "leave the tag out")
        if isinstance(node, SequenceNode):
            return [self.value(child) for child in node.value]
        return self.mapping(node)

    def scalar(self, node: ScalarNode) -> Any:
        """What a scalar stands for; text where it is in quotes or could mislead.

        >>> reader = PlainData("mine.yaml")
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

        >>> reader = PlainData("mine.yaml")
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
        """Note what is wrong with a node."""
        self.problems.append(Problem(Place(self.source, line_of(node)), expected, got, remedy))


def line_of(node: Node) -> int:
    """The line in which a value begins, from 1."""
    return node.start_mark.line + 1 if node.start_mark else 1


def child_of(node: Node, step: str | int, named: NamedNode) -> tuple[int, Node] | None:
    """The line and the node of a value inside another; a name's line is where it stands.

    ``named`` takes up the names of mappings that were looked through.
    """
    if isinstance(node, MappingNode):
        if id(node) not in named:
            backwards = reversed(node.value)
            named[id(node)] = {
                key.value: (line_of(key), value)
                for key, value in backwards
                if isinstance(key, ScalarNode)
            }
        return named[id(node)].get(str(step))
    if isinstance(node, SequenceNode) and isinstance(step, int) and 0 <= step < len(node.value):
        return line_of(node.value[step]), node.value[step]
    return None


class _Resolver:
    """Marks every scalar as plain or quoted, and stops at what is nested too deep or too much."""

    depth = 0
    values = 0

    def resolve(self, kind: type, value: str | None, implicit: Any) -> str:
        if kind is ScalarNode:
            return PLAIN if implicit[0] else QUOTED
        return HOLDER

    def descend_resolver(self, parent: Node | None, index: Any) -> None:
        self.depth += 1
        if self.depth > DEEPEST and parent is not None:
            raise _TooDeepError(
                problem=f"nested more than {DEEPEST} deep", problem_mark=parent.start_mark
            )
        self.values += 1
        if self.values > MOST_VALUES and parent is not None:
            raise _TooManyError(
                problem=f"more than {MOST_VALUES:,} values", problem_mark=parent.start_mark
            )

    def ascend_resolver(self) -> None:
        self.depth -= 1


class _TooDeepError(yaml.MarkedYAMLError):
    """More levels of nesting than any of our files has."""


class _TooManyError(yaml.MarkedYAMLError):
    """More names and values than any of our files has."""


class PythonComposer(_Resolver, Reader, Scanner, Parser, Composer):
    """Composes with PyYAML's own parser, for where the C one is missing."""

    def __init__(self, text: str) -> None:
        Reader.__init__(self, text)
        Scanner.__init__(self)
        Parser.__init__(self)
        Composer.__init__(self)


COMPOSER: Any = PythonComposer
if yaml.__with_libyaml__:
    from yaml._yaml import CParser

    class CComposer(_Resolver, CParser):
        """Composes with the C parser."""

    COMPOSER = CComposer


def _refuse_references(text: str, source: str) -> None:
    # What has more events than this has too many values, and composing it will say so.
    for event in islice(yaml.parse(text, Loader=COMPOSER), 3 * MOST_VALUES):
        name = getattr(event, "anchor", None)
        if name and event.start_mark:
            where = Place(source, event.start_mark.line + 1)
            remedy = "write the value out, or put it in quotes if it is text"
            raise refused(where, "no & and * references", repr(name), remedy)


def _unreadable(error: yaml.MarkedYAMLError, source: str) -> FileProblems:
    mark = error.problem_mark or error.context_mark
    where = Place(source, mark.line + 1 if mark else None)
    if isinstance(error, _TooDeepError):
        return refused(where, f"at most {DEEPEST} levels of nesting", "more levels")
    if isinstance(error, _TooManyError):
        return refused(where, f"at most {MOST_VALUES:,} values", "more", "split the file")
    if "single document" in str(error.context):
        return refused(where, "one document in the file", "a second one")
    remedy = "look at indentation, colons and quotes here and in the line above"
    return refused(where, "readable YAML", f"a fault in the writing ({error.problem})", remedy)


def _code(character: str | int | bytes) -> str:
    code = character if isinstance(character, int) else ord(character)
    return f"U+{code:04X}"
