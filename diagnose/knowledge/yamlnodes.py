"""From YAML text to nodes that know their lines, with what is unreadable or unwise refused.

The C parser of PyYAML is used where it is built in, the Python one otherwise; they answer the
same. Tags are not resolved: a scalar is only told to be plain or quoted.
"""

from __future__ import annotations

from itertools import islice
from typing import Any

import yaml
from yaml.composer import Composer
from yaml.nodes import Node, ScalarNode
from yaml.parser import Parser
from yaml.reader import Reader, ReaderError
from yaml.scanner import Scanner

from diagnose.errors import FileProblems, Place
from diagnose.knowledge.textfile import refused
from diagnose.limits import DEEPEST, MOST_VALUES

PLAIN, QUOTED, HOLDER = "plain", "quoted", "holder"
"""Tags of nodes: a scalar without quotes, one with quotes, a list or mapping."""


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
