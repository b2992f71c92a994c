"""Ask for one line at a time: on a terminal, from a pipe, or from a file of answers."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from diagnose.errors import FileProblems, Place, Problem

PROMPT = "> "

ASIDE = re.compile(r"(^|\s)#(\s.*)?$")
"""What stands in a file of answers for whoever reads it."""


class Asker(Protocol):
    """Gives the next line, or None when there are no more."""

    def line(self) -> str | None:
        """What was typed."""


class Answers:
    """Lines of a file; what follows a # and a blank is not an answer. They are echoed.

    Raises `FileProblems` when the file is no text.
    """

    def __init__(self, path: Path) -> None:
        try:
            lines = path.read_text(encoding="utf-8").splitlines()
        except UnicodeDecodeError as error:
            problem = Problem(Place(str(path)), "text in UTF-8", "something else", "save it so")
            raise FileProblems([problem]) from error
        told = ((line, ASIDE.sub("", line).rstrip()) for line in lines)
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
        sys.stdout.write(f"{PROMPT}{answer if answer is not None else ''}\n")
        return answer


class Piped:
    """Lines from a pipe."""

    def line(self) -> str | None:
        """The next line."""
        sys.stdout.write(PROMPT)
        sys.stdout.flush()
        typed = sys.stdin.readline()
        return typed.rstrip("\n") if typed else None


class Nobody:
    """Never gives a line: there is nothing to read from."""

    def line(self) -> str | None:
        """No line.

        >>> Nobody().line() is None
        True
        """
        return None


class Typed:
    """Lines from somebody at a terminal, with the arrow keys and what was typed before."""

    def __init__(self, words: list[str]) -> None:
        from prompt_toolkit import PromptSession  # noqa: PLC0415
        from prompt_toolkit.completion import WordCompleter  # noqa: PLC0415
        from prompt_toolkit.history import InMemoryHistory  # noqa: PLC0415

        completer = WordCompleter(words, sentence=True)
        self._session: PromptSession[str] = PromptSession(
            history=InMemoryHistory(), completer=completer, complete_while_typing=False
        )

    def line(self) -> str | None:
        """What was typed; None at the end of input."""
        with suppress(EOFError):
            return self._session.prompt(PROMPT)
        return None


def asker(answers: Path | None, words: list[str]) -> Asker:
    """Whoever answers here; ``words`` are completed with the tabulator key."""
    if answers is not None:
        return Answers(answers)
    if sys.stdin is None:
        return Nobody()
    if sys.stdin.isatty() and sys.stdout.isatty():
        return Typed(words)
    return Piped()


def unattended(asker: Asker) -> bool:
    """Whether answers come in without anybody who could be asked about them.

    >>> unattended(Piped())
    True
    """
    return isinstance(asker, Answers | Piped | Nobody)
