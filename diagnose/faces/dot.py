"""A plan as a graph in the DOT language of Graphviz."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import count
from textwrap import wrap
from typing import Any

from diagnose.faces.terminal import PLAIN_RESULTS
from diagnose.faces.words import minutes_text, percent, sentence

Report = Mapping[str, Any]

ACROSS = 36
"""Letters in a line of a box."""


def dot_lines(report: Report) -> Iterator[str]:
    r"""The plan's tree, a box for each act, a rounded one for each end, an edge for each outcome.

    >>> report = {"machine": "m", "tree": {"conclusion": "proven", "says": "all \"good\""}}
    >>> print(*dot_lines(report), sep=chr(10))
    digraph plan {
      rankdir=LR; node [shape=box]; label="m";
      n1 [label="All \"good\".", style=rounded];
    }
    """
    yield "digraph plan {"
    yield f"  rankdir=LR; node [shape=box]; label={_quoted(report['machine'])};"
    numbers = count(1)
    yield from _node(report["tree"], next(numbers), numbers)
    yield "}"


def _node(node: Report, number: int, numbers: Iterator[int]) -> Iterator[str]:
    if "conclusion" in node:
        yield f"  n{number} [label={_quoted(sentence(node['says']))}, style=rounded];"
        return
    act = node["act"]
    label = f"{sentence(act['says'])} {minutes_text(act['minutes'])}"
    yield f"  n{number} [label={_quoted(label)}];"
    for outcome in node["outcomes"]:
        child = next(numbers)
        result = PLAIN_RESULTS.get(outcome["result"], outcome["result"].rstrip("."))
        edge = f"{result}, {percent(outcome['probability'])}"
        yield f"  n{number} -> n{child} [label={_quoted(edge)}];"
        yield from _node(outcome["then"], child, numbers)


def _quoted(text: str) -> str:
    lines = [line.replace("\\", "\\\\").replace('"', '\\"') for line in wrap(text, ACROSS)]
    return '"' + "\\n".join(lines) + '"'
