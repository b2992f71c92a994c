"""``rowfault cases learn``: what closed cases teach of priors; accept it, or forget it."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence

import click

from diagnose.errors import InputError, Place, Problem, RowfaultError, on_one_line
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.priors import SHIPPED
from diagnose.learning.counts import Summary, count_cases, load_weights
from diagnose.learning.update import Lesson, accept, forget, learn
from diagnose.paths import own, own_to_write
from diagnose.reports.forms.training import LeftOut, LessonReport, MovedReport
from diagnose.reports.training import build_lesson_report
from diagnose.ui.cli.options import WORDS, json_option
from diagnose.ui.cli.who import login, opened_casebook
from diagnose.ui.lazy import Command
from diagnose.ui.terminal.output import print_json, print_lines
from diagnose.ui.words import how_many, odds


@click.command("learn", cls=Command)
@click.option("--show", "wish", flag_value="show", default="show", help="Show it, change nothing.")
@click.option("--accept", "wish", flag_value="accept", help="Make it the priors from now on.")
@click.option("--forget", "wish", flag_value="forget", help="Go back to the shipped priors.")
@click.option("--who", type=WORDS, help="Who accepts, if not the one who is logged in.")
@json_option
def learn_command(*, wish: str, who: str | None, as_json: bool) -> None:
    """Learn from closed cases how often parts fail.

    Shows how far your own closed cases would move the shipped priors, and which of those they
    contradict. Nothing changes until you accept; every ranking and plan then says so. What was
    accepted before is kept beside it.

    Example:
      rowfault cases learn --show
    """
    if as_json and wish != "show":
        raise click.UsageError(f"--json goes with --show only, not with --{wish}.")
    if wish == "forget":
        forget_lesson()
        return

    by = named_or_login(who) if wish == "accept" else None
    with opened_casebook() as casebook:
        entries = casebook.entries()
    if by is not None:
        accept_lesson(entries, by)
    else:
        show_lesson(entries, as_json)


WORTH_SHOWING = 1.25
"""Priors that move by less than this factor are counted, not shown."""

_MOST_SHOWN = 12

UNUSABLE = "a file that cannot be used"

HEAD = "  times shipped learned 90 % interval found expected"
"""Over the rows of what moved; rates are per 1,000 parts."""


def show_lesson(cases: Iterable[Summary], as_json: bool) -> None:
    """Print what the cases would move. Nothing changes."""
    known = load_knowledge(learned=False)
    report = build_lesson_report(_lesson(cases), known.parts, _in_force())
    if as_json:
        print_json(report)
    else:
        print_lines(lesson_lines(report))


def accept_lesson(cases: Iterable[Summary], by: str) -> None:
    """Write what the cases teach as the priors in force. Raises as `accept` does."""
    made = accept(_lesson(cases), load_knowledge(learned=False).parts, own_to_write().priors, by)
    print_lines(
        [
            f"Accepted: priors {made.id}, from {how_many(made.cases, 'closed case')}.",
            f"They are in {own().priors}; rowfault cases learn --forget puts them aside.",
        ]
    )


def forget_lesson() -> None:
    """Put the accepted priors aside. Raises `Unavailable`."""
    aside = forget(own().priors)
    if aside is None:
        print_lines(["No priors had been accepted; the shipped ones hold, as before."])
    else:
        print_lines([f"The shipped priors hold again; the others are kept in {aside}."])


def _lesson(cases: Iterable[Summary]) -> Lesson:
    known = load_knowledge(learned=False)
    return learn(count_cases(cases, known), known.parts, load_weights())


def _in_force() -> str:
    """The id of the set in force, or that it cannot be used: looking at a lesson mends that."""
    try:
        return load_knowledge().priors
    except RowfaultError:
        return UNUSABLE


def lesson_lines(report: LessonReport) -> Iterator[str]:
    """The lesson for people, in lines for 80 columns.

    >>> from collections import Counter
    >>> from diagnose.learning.counts import Counts
    >>> counts = Counts(unfinished=2, unknown_machines=Counter(mine=1))
    >>> lesson = Lesson(counts, (), (), {})
    >>> print_lines(lesson_lines(build_lesson_report(lesson, {}, SHIPPED)))
    0 closed cases. In force: the shipped priors.
    Left out: 2 cases open, or closed with neither a cause nor proof.
    Left out: 1 closed case on mine, a layout that is not known here.
    """
    closed = how_many(report.cases, "closed case")
    yield from _wrapped(f"{closed}. In force: {_set(report.priors)}.")
    yield from _left_out(report.left_out)
    yield from _table("What would move most, per 1,000 parts", report.moved)
    for frame, moved in report.apart.items():
        yield from _table(f"Learned apart for {frame} machines", moved, least=1.0)
    if report.conflicts:
        yield from ("", "At odds with the shipped priors")
        for each in report.conflicts:
            yield from _wrapped(_conflict(each), "  - ", "    ")
    if report.cases:
        yield from ("", "Nothing changes until rowfault cases learn --accept.")


def _left_out(left: LeftOut) -> Iterator[str]:
    if left.unfinished:
        yield from _wrapped(
            f"Left out: {how_many(left.unfinished, 'case')} open, or closed with neither a cause "
            "nor proof."
        )
    for name, cases in left.unknown_machines.items():
        closed = how_many(cases, "closed case")
        yield from _wrapped(f"Left out: {closed} on {name}, a layout that is not known here.")
    for cause, times in left.unknown_causes.items():
        named = how_many(times, "time")
        yield from _wrapped(f"Not counted: {cause}, named {named}, is not on its machine.")


def _table(title: str, moved: Sequence[MovedReport], least: float = WORTH_SHOWING) -> Iterator[str]:
    large = [each for each in moved if max(each.times, 1 / each.times) >= least]
    shown = large[:_MOST_SHOWN]
    if not moved:
        return
    yield from ("", title)
    if shown:
        yield HEAD
    for each in shown:
        yield _row(each)
    if len(moved) > len(shown):
        yield f"  {len(moved) - len(shown)} others would move less; --json shows them all."


def _row(moved: MovedReport) -> str:
    low, high = _rate(moved.low), _rate(moved.high)
    shipped, learned = _rate(moved.shipped), _rate(moved.learned)
    return (
        f"  {moved.times:>5.2f} {shipped:>7} {learned:>7} {low:>6}-{high:<6}"
        f" {moved.found:>5} {moved.expected:>8.1f}  {moved.id}"
    )


def _conflict(moved: MovedReport) -> str:
    """What was found against what was expected, and how odd that is.

    >>> _conflict(
    ...     MovedReport.model_construct(says="row valve", found=9, expected=2.04, tail=0.0004)
    ... )
    'row valve: found 9, expected 2.0; so far out by chance: 1 in 2,500.'
    """
    return (
        f"{moved.says}: found {moved.found}, expected {moved.expected:.1f}; "
        f"so far out by chance: {odds(moved.tail)}."
    )


def _rate(rate: float) -> str:
    """A rate per 1,000.

    >>> _rate(0.0012), _rate(0.00004), _rate(0.25)
    ('1.20', '0.04', '250')
    """
    thousand = 1000 * rate
    return f"{thousand:.0f}" if thousand >= 100 else f"{thousand:.2f}"


def _wrapped(text: str, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(
        on_one_line(text), 80, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    )


def _set(priors: str) -> str:
    names = {SHIPPED: "the shipped priors", UNUSABLE: UNUSABLE}
    return names.get(priors, f"priors {priors}")


def named_or_login(who: str | None) -> str:
    """Whoever was named, else who is logged in. Raises `InputError` when nobody is known."""
    name = who or login()
    if not name:
        raise InputError(Problem(Place("--who"), "who accepts", "nobody", "say --who NAME"))
    return name
