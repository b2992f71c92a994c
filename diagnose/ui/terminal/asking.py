"""Ask for one line at a time: on a terminal, from a pipe, or from a file of answers."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from diagnose.formats.textfile import read_text_file
from diagnose.tolerances import LARGEST_YAML
from diagnose.ui.streams import bare

_PROMPT = "> "
_LONGEST_LINE = 100_000
"""Letters that are read of a line from a pipe."""

_ASIDE = re.compile(r"(^|\s)#(\s.*)?$")
"""What stands in a file of answers for whoever reads it."""


class Asker(Protocol):
    """Gives the next line, or None when there are no more."""

    def line(self) -> str | None:
        """What was typed."""


class Answers:
    """Lines of a file; what follows a # and a blank is not an answer. They are echoed.

    Raises `FileProblems` when the file is no text, or too long.
    """

    def __init__(self, path: Path) -> None:
        lines = read_text_file(path, LARGEST_YAML).splitlines()
        told = ((line, _ASIDE.sub("", line).rstrip()) for line in lines)
        self._lines: Iterator[str] = (answer for line, answer in told if answer or not line)

    def line(self) -> str | None:
        """The next answer, printed as if it had been typed.

        >>> import tempfile
        >>> with tempfile.TemporaryDirectory() as folder:
        ...     _ = Path(folder, "answers").write_text("6 pass  # the last row")
        ...     Answers(Path(folder, "answers")).line()
        > 6 pass
        '6 pass'
        """
        answer = next(self._lines, None)
        sys.stdout.write(f"{_PROMPT}{answer if answer is not None else ''}\n")
        return answer


class Piped:
    """Lines from a pipe; one without end is cut, and what is left of it comes as the next."""

    def line(self) -> str | None:
        """The next line."""
        sys.stdout.write(_PROMPT)
        sys.stdout.flush()
        typed = sys.stdin.readline(_LONGEST_LINE)
        return typed.rstrip("\n") if typed else None


class _Typed:
    """Lines from somebody at a terminal, with the arrow keys and what was typed before."""

    def __init__(self, words: list[str]) -> None:
        from prompt_toolkit import PromptSession  # noqa: PLC0415
        from prompt_toolkit.completion import WordCompleter  # noqa: PLC0415
        from prompt_toolkit.history import InMemoryHistory  # noqa: PLC0415
        from prompt_toolkit.output import create_output  # noqa: PLC0415

        completer = WordCompleter(words, sentence=True)
        self._session: PromptSession[str] = PromptSession(
            history=InMemoryHistory(),
            completer=completer,
            complete_while_typing=False,
            output=create_output(bare(sys.stdout)),
        )

    def line(self) -> str | None:
        """What was typed; None at the end of input."""
        with suppress(EOFError):
            typed = self._session.prompt(_PROMPT).encode("utf-8", "surrogateescape")
            return typed.decode("utf-8", "backslashreplace")
        return None


def asker(answers: Path | None, words: list[str]) -> Asker:
    """Whoever answers here; ``words`` are completed with the tabulator key."""
    if answers is not None:
        return Answers(answers)
    if sys.stdin.isatty() and sys.stdout.isatty():
        return _Typed(words)
    return Piped()


def unattended(asker: Asker) -> bool:
    """Whether answers come in without anybody who could be asked about them.

    >>> unattended(Piped())
    True
    """
    return isinstance(asker, Answers | Piped)
