"""How answers are printed: for people on a console that fits the terminal, for scripts as JSON.

Colour is an extra. It is left out when the output is not a terminal, when the environment says
``NO_COLOR`` and when the user says ``--no-colour``.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterable

from rich.console import Console, RenderableType
from rich.segment import Segment, Segments
from rich.theme import Theme

from diagnose.reports.forms.base import Report
from diagnose.ui.streams import encodable, visible, write_as_is

GLUE = "\ue000"
"""A blank at which no line is broken; `print_tidily` prints it as one."""
BLANKS_AT_THE_END = re.compile(r" +((?:\x1b\[[0-9;]*m)*)$", re.MULTILINE)
STYLES = {
    "pass": "#0072B2",
    "fail": "bold #D55E00",
    "unsure": "bold",
    "quiet": "dim",
    "title": "bold",
    "caution": "bold",
}


def console(colour: bool = True) -> Console:
    """A console on standard output with the project's styles; ``colour=False`` has none."""
    return Console(
        theme=Theme(STYLES),
        highlight=False,
        markup=False,
        emoji=False,
        no_color=None if colour else True,
    )


def print_tidily(console: Console, what: RenderableType) -> None:
    """Print to the console without the blanks that tables leave at the ends of lines.

    What a terminal would obey in text of users is written out; only the styles are the program's.

    >>> print_tidily(Console(width=9, highlight=False), f"about 13{GLUE}%")
    about
    13 %
    """
    parts = [part for part in console.render(what) if not part.control]
    harmless = [Segment(visible(part.text.replace(GLUE, " ")), part.style) for part in parts]
    with console.capture() as captured:
        console.print(Segments(harmless), crop=False, end="")
    write_as_is(console.file, BLANKS_AT_THE_END.sub(r"\1", captured.get()))


def print_lines(lines: Iterable[str]) -> None:
    """Print plain lines; what is in them of a user's passes the guard of standard output.

    >>> print_lines(["one", "two"])
    one
    two
    """
    sys.stdout.writelines(f"{line}\n" for line in lines)


def print_json(report: Report) -> None:
    """Print one JSON document in plain ASCII, so that any terminal and any pipe can carry it."""
    sys.stdout.write(json_text(report))


def json_text(report: Report) -> str:
    r"""A report as one JSON document.

    >>> from diagnose.reports.forms.listings import RulesReport
    >>> print(json_text(RulesReport(rules=())), end="")
    {
      "schema": "rowfault/rules/1",
      "rules": []
    }
    """
    return in_json(report.plain())


def in_json(data: object) -> str:
    r"""Plain data as JSON in ASCII, without the one control character that JSON allows.

    >>> in_json(["\x7f\x1b", "\udcff"])
    '[\n  "\\u007f\\u001b",\n  "\\\\udcff"\n]\n'
    """
    text = json.dumps(data, indent=2, allow_nan=False)
    if "\\ud" in text:
        text = json.dumps(encodable(data), indent=2, allow_nan=False)
    return text.replace("\x7f", "\\u007f") + "\n"
