"""What ``rowfault drill`` keeps and shows of somebody's own progress."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.text import Text

from diagnose.drill.level import load_drills
from diagnose.drill.progress import progress_report
from diagnose.drill.record import Finished
from diagnose.drill.score import Debriefing
from diagnose.errors import on_one_line
from diagnose.faces.output import console, print_json, print_tidily
from diagnose.faces.plaintext import visible
from diagnose.faces.who import login
from diagnose.faces.words import counted, percent, sentence
from diagnose.record import record
from diagnose.store.casebook import open_casebook

Report = Mapping[str, Any]

WIDE_COUNT, WIDE_BAR = 12, 32

MEANING = (
    "The mark is how likely the next opportunity is to be taken; with 90 % the true chance lies on "
    "the thick line. Each opportunity is one trial from a Beta(1/2, 1/2) prior (Jeffreys 1946; "
    "interval: Brown, Cai & DasGupta 2001). Old ones fade, so that about the last 20 of a skill "
    "count (judgement). Weakest is what may be lowest: whose line begins lowest, seen or not."
)


@record
class Record:
    """Where one person's finished drills are kept; every method raises `Unavailable`."""

    url: str | None
    who: str

    def drills(self) -> list[Finished]:
        """The drills, the first one first."""
        with open_casebook(self.url) as casebook:
            return casebook.drills(self.who)

    def keep(self, done: Finished) -> None:
        """Keep one more."""
        with open_casebook(self.url) as casebook:
            casebook.keep_drill(done)


def record_of(url: str | None, who: str | None) -> Record:
    """The record of somebody, or of whoever is logged in; of nobody by name if that is unknown.

    >>> record_of(None, " Ann ")
    Record(url=None, who='Ann')
    """
    return Record(url, on_one_line((login() if who is None else who).strip()))


def show_progress(record: Record, *, as_json: bool, colour: bool) -> None:
    """Print somebody's record by skill. Raises `Unavailable`."""
    report = progress_report(record.who, record.drills(), load_drills())
    if as_json:
        print_json(report)
        return
    out = console(colour)
    print_tidily(out, Group(*progress_text(report, out)))


def progress_text(report: Report, console: Console) -> Iterator[RenderableType]:
    """A record for people, part by part, for 80 columns.

    >>> skill = {"says": "narrow down", "taken": 3, "of": 4, "mean": None}
    >>> report = {"who": "Ann", "drills": [1, 2], "skills": [skill], "model": {"fewest": 5}}
    >>> report["next"] = {"level": 2, "name": "two rows", "why": "level 1 goes well"}
    >>> [text.plain for text in progress_text(report, Console())][:3:2]
    ['Ann: 2 finished drills', '  3 of 4     not known yet: it came up fewer than 5 times']
    """
    many = counted(len(report["drills"]), "finished drill")
    yield Text(f"{visible(report['who'])}: {many}" if report["who"] else many, style="title")
    for skill in report["skills"]:
        yield Text(sentence(skill["says"]))
        yield Text(_line(skill, report["model"]["fewest"], console.options.ascii_only))
    yield Text(f"\n{MEANING}", style="quiet")
    ahead = report["next"]
    yield Text(f"\nNext: level {ahead['level']}, {ahead['name']}", style="title")
    yield Text(f"{sentence(ahead['why'])} rowfault drill begins it.")


def _line(skill: Report, fewest: int, plain: bool) -> str:
    count = f"  {skill['taken']} of {skill['of']}".ljust(WIDE_COUNT)
    if skill["mean"] is None:
        return f"{count} not known yet: it came up fewer than {fewest} times"
    mean, low, high = skill["mean"], skill["low"], skill["high"]
    line = bar(low, mean, high, plain)
    return f"{count} {line} {percent(mean)} ({percent(low)} to {percent(high)})"


def bar(low: float, mean: float, high: float, plain: bool) -> str:
    """A line from 0 to 1, thick from ``low`` to ``high``, with a mark at ``mean``.

    >>> bar(0.25, 0.5, 0.74, plain=True)
    '........========O=======........'
    """
    thin, thick, mark = ".=O" if plain else "·━●"
    first, at, last = (min(int(WIDE_BAR * chance), WIDE_BAR - 1) for chance in (low, mean, high))
    cells = [thick if first <= cell <= last else thin for cell in range(WIDE_BAR)]
    return "".join([*cells[:at], mark, *cells[at + 1 :]])


def kept_in_words(done: Debriefing) -> str:
    """How the skills of a drill went, in one sentence.

    >>> from types import SimpleNamespace
    >>> kept_in_words(SimpleNamespace(skills={"narrow": (2, 3)}))
    'kept in your record: narrow 2 of 3. See rowfault drill --progress'
    """
    went = ", ".join(f"{skill} {taken} of {of}" for skill, (taken, of) in done.skills.items())
    return f"kept in your record: {went or 'no skill came up'}. See rowfault drill --progress"
