"""Every error that rowfault raises on purpose.

The tree, with the exit status that the command line gives::

    RowfaultError                1
    ├── InputError               1   one typed thing that cannot be used
    │   ├── UnknownName          1   a name that is not known; offers near matches
    │   └── CaseClosed           1   an answer for a case that is closed
    ├── FileProblems             1   everything wrong with a file, at once
    ├── NoAnswer                 1   a case that cannot be ranked as it was told
    │   ├── ImpossibleEvidence   1   results that cannot stand together
    │   ├── TooManyRuns          1   failing runs that multiply beyond what can be worked out
    │   ├── OverBudget           1   the same, where nobody knows yet which runs to leave out
    │   └── NotUnderstood        1   something that can be kept, but not reckoned with yet
    ├── Overtaken                1   an answer that others were quicker than
    ├── Unavailable              1   something the machine lacks (a folder, a permission)
    └── Damaged                  1   what is stored is not what was written

Wrong usage of a command (a missing argument, an unknown option) is click's own
error and exits with 2.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from typing import Any

from diagnose.record import record

MOST_OFFERED = 6
"""So many known names are shown when none is near."""

MOST_COMPARED = 2000
"""Among more names than this no near one is looked for: thousands of typos would take minutes."""

LONGEST = 60
"""What came is shown up to this length."""

_LONGEST_WORD, _LONGEST_PART = 200, 600
"""Longer words of a message are cut, whoever wrote it; so is what was expected, came or helps."""


@record
class Place:
    """Where something stands: a file and a line, or a name such as ``argument 3``.

    >>> str(Place("mine.yaml", 12))
    'mine.yaml:12'
    >>> str(Place("argument 3"))
    'argument 3'
    """

    source: str
    line: int | None = None

    def __str__(self) -> str:
        return self.source if self.line is None else f"{self.source}:{self.line}"


@record
class Problem:
    """One thing that is wrong: where, what was expected, what came, what to try.

    >>> print(Problem(Place("mine.yaml", 3), "a whole number of rows", "'six'", "write rows: 6"))
    mine.yaml:3: expected a whole number of rows, got 'six'; write rows: 6
    """

    where: Place
    expected: str
    got: str
    remedy: str = ""

    def __str__(self) -> str:
        tail = f"; {_readable(self.remedy)}" if self.remedy else ""
        told = f"expected {_readable(self.expected)}, got {_readable(self.got)}{tail}"
        return on_one_line(f"{self.where}: {told}")


class RowfaultError(Exception):
    """Base of all errors of this project; ``exit_code`` is the command's exit status."""

    exit_code = 1


class InputError(RowfaultError):
    """One thing that was typed or passed cannot be used; carries its `Problem`."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(str(problem))
        self.problem = problem


class UnknownName(InputError):
    """A name that nothing answers to; the message offers the nearest known names.

    ``see`` is the command that shows them all.
    """

    def __init__(
        self, where: Place, what: str, name: str, known: Iterable[str], see: str = ""
    ) -> None:
        super().__init__(Problem(where, what, quoted(name), offer(name, known, see)))


class CaseClosed(InputError):
    """A closed case takes nothing but a note, until somebody reopens it."""


class Overtaken(RowfaultError):
    """Others told something of a case after the last thing that an answer's giver had seen.

    ``between`` holds those events in order. Nothing of the answer was kept.
    """

    def __init__(self, case: str, between: Sequence[Any]) -> None:
        self.case, self.between = case, tuple(between)
        people = " and ".join(dict.fromkeys(event.who for event in self.between))
        things = "1 thing" if len(self.between) == 1 else f"{len(self.between)} things"
        super().__init__(
            on_one_line(
                f"case {case}: expected that nobody else told anything meanwhile, got {things} "
                f"from {people}; no answer was kept after that: see rowfault cases show {case}, "
                f"then go on with rowfault work --case {case}"
            )
        )


class FileProblems(RowfaultError):
    """Everything that is wrong with one file or folder, in order of place."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = tuple(problems)


class NoAnswer(RowfaultError):
    """A case that was told without a mistake in its form, and yet cannot be ranked.

    ``asks`` is the question that puts it right where somebody works on the case.
    """

    asks = "Which entry was noted down wrong?"


class ImpossibleEvidence(NoAnswer):
    """The results given cannot all be true under any combination of faults.

    ``findings`` names a smallest set of results that cannot stand together.
    """

    def __init__(self, findings: Sequence[str]) -> None:
        super().__init__(
            "expected results that some combination of faults can produce, got results that "
            f"cannot stand together: {', '.join(findings)}; check how they were noted down"
        )
        self.findings = tuple(findings)


class TooManyRuns(NoAnswer):
    """More failing runs than can be worked out together.

    ``runs`` are the numbers of those to leave out; without them the rest is worked out.
    """

    asks = "Which of these runs can be taken back?"

    def __init__(self, says: str, runs: Sequence[int]) -> None:
        super().__init__(says)
        self.runs = tuple(runs)


class OverBudget(NoAnswer):
    """An inference would need more table entries than it may take."""

    asks = TooManyRuns.asks

    def __init__(self) -> None:
        super().__init__(
            "the failing runs are too many to work out together; leave out the oldest and try again"
        )


class NotUnderstood(NoAnswer):
    """Something that a case may keep, and that no probability can be worked out from yet."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(str(problem))
        self.problem = problem


class Unavailable(RowfaultError):
    """Something outside the program is missing or refuses: a folder, a file, a permission."""


class Damaged(RowfaultError):
    """What is stored is not what was written; carries the `Problem` that names the first bad entry.

    ``whole`` is what could be read of what was asked for: the entries before the bad one, or the
    cases of a list that are sound. ``rest`` are entries after it that are whole by themselves.
    """

    def __init__(
        self, problem: Problem, whole: Sequence[Any] = (), rest: Sequence[Any] = ()
    ) -> None:
        super().__init__(str(problem))
        self.problem, self.whole, self.rest = problem, tuple(whole), tuple(rest)


def offer(name: str, known: Iterable[str], see: str = "") -> str:
    """What to try instead of a name that is not known: the nearest ones, or a few of them all.

    ``see`` is the command that shows them all.

    >>> offer("folding-61", ["mounted-6", "folding-16"]), offer("x", ["pass", "fail"])
    ('did you mean folding-16?', 'known: fail, pass')
    >>> offer("x", "abcdefgh", "rowfault machine list")
    'for example a, b, c, d, e, f; see rowfault machine list'
    """
    known = set(known)
    if len(known) > MOST_COMPARED:
        return f"see {see}" if see else ""
    known = sorted(known)
    near = near_matches(name, known)
    if near:
        return f"did you mean {' or '.join(near)}?"
    if len(known) <= MOST_OFFERED:
        return f"known: {', '.join(known)}"
    tail = f"; see {see}" if see else ""
    return f"for example {', '.join(known[:MOST_OFFERED])}{tail}"


def quoted(name: object) -> str:
    """What came, in quotes, cut where it is too long to read.

    >>> quoted("oil"), quoted("x" * 500)[-6:]
    ("'oil'", 'xxx...')
    """
    return cut(repr(name))


def cut(text: str) -> str:
    """The text, without its end when it is too long to read.

    >>> cut("oil=54C"), len(cut("response=" + 1000 * "P"))
    ('oil=54C', 60)
    """
    return text if len(text) <= LONGEST else text[: LONGEST - 3] + "..."


def _readable(text: str) -> str:
    """A part of a message without what is longer than anybody reads: a word, or the whole of it."""
    if len(text) <= _LONGEST_WORD:
        return text
    told = " ".join(cut(word) if len(word) > _LONGEST_WORD else word for word in text.split(" "))
    return told if len(told) <= _LONGEST_PART else told[: _LONGEST_PART - 3] + "..."


def on_one_line(text: str) -> str:
    r"""The text with line breaks and other marks that cannot be printed written out.

    >>> on_one_line("oil=5\n4C")
    'oil=5\\n4C'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def near_matches(name: str, known: Iterable[str], most: int = 3) -> list[str]:
    """The known names that look most like ``name``, best first.

    >>> near_matches("mounted12", ["mounted-6", "mounted-12", "folding-16"])[0]
    'mounted-12'
    """
    return difflib.get_close_matches(name, list(known), n=most, cutoff=0.6)
