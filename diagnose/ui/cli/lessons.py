"""``rowfault cases read`` and ``coverage``: worked cases step by step, and what they leave out."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import click
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from diagnose.errors import Place, UnknownName
from diagnose.knowledge.base import load_knowledge
from diagnose.reports.listings import build_coverage_report
from diagnose.training.worked_cases import Played, Worked, coverage, play_through, worked_cases
from diagnose.ui.cli.options import WORDS, colour_option, json_option
from diagnose.ui.lazy import Command
from diagnose.ui.terminal.output import GLUE, console, print_json, print_lines, print_tidily
from diagnose.ui.terminal.ranking import LEGEND, bullets
from diagnose.ui.terminal.rows import Line, draw_rows
from diagnose.ui.words import percent, sentence


@click.command("read", cls=Command)
@click.argument("case", required=False, type=WORDS)
@click.option("--topic", type=WORDS, help="List only those about this.")
@click.option("--all", "at_once", is_flag=True, help="Show everything without waiting.")
@colour_option
def read_command(*, case: str | None, topic: str | None, at_once: bool, no_colour: bool) -> None:
    """Read worked cases, step by step.

    Without CASE they are listed by topic. With the id of one, each step asks what you would do;
    Enter shows what is likely, what to do next and why. All of them are invented.

    Example:
      rowfault cases read swapped-coil
    """
    if case is None:
        list_lessons(topic)
        return

    def wait() -> None:
        if not at_once:
            click.prompt("(Enter)", default="", show_default=False, prompt_suffix=" ")

    read_lesson(case, console(not no_colour), wait)


@click.command("coverage", cls=Command)
@json_option
def coverage_command(as_json: bool) -> None:
    """Say what the worked cases leave out.

    Layouts, part kinds, modes, patterns, rules and kinds of act are counted.

    Example:
      rowfault cases coverage
    """
    show_coverage(as_json)


ASKS = "What would you do?"
_MOST_CAUSES = 3
_SEE = "rowfault cases read"

_ENDS = {
    "proven": "nothing more: the machine is proven good",
    "hand over": "hand over, with what was seen",
}


def list_lessons(topic: str | None) -> None:
    """Print the worked cases by topic, or those of one topic. Raises `UnknownName`."""
    cases = worked_cases()
    topics = dict.fromkeys(name for case in cases for name in case.topics)
    if topic is not None and topic not in topics:
        raise UnknownName(Place("--topic"), "a topic", topic, topics)
    for name in topics if topic is None else [topic]:
        own = [case for case in cases if name in case.topics]
        print_lines([name, *(f"  {case.id:<26} {case.title}" for case in own)])


def read_lesson(id: str, console: Console, wait: Callable[[], object]) -> None:
    """Show a worked case; ``wait`` lets the reader think before each answer.

    Raises `UnknownName`.
    """
    cases = {case.id: case for case in worked_cases()}
    if id not in cases:
        raise UnknownName(Place("case"), "a worked case", id, cases, _SEE)
    worked = cases[id]
    print_tidily(console, Group(*_opening(worked)))
    for number, step in enumerate(play_through(worked, load_knowledge()), start=1):
        print_tidily(console, Group(*_told(number, step, console)))
        wait()
        print_tidily(console, Group(*_answer(step)))
    print_tidily(console, Group(Text(), Text("Lesson", style="title"), Text(worked.lesson)))


def _opening(worked: Worked) -> Iterator[RenderableType]:
    yield Text(worked.title, style="title")
    yield Text(f"{worked.machine}. {worked.situation}")


def _told(number: int, step: Played, console: Console) -> Iterator[RenderableType]:
    machine, case = step.machine, step.ranking.evidence.case
    yield Text()
    yield Text(f"Step {number}", style="title")
    work = [word for word in step.step.told if "@" in word]
    yield from bullets(f"told: {word}" for word in work)
    lines = [Line(f"{run.index} {run.check}", run.pattern) for run in case.runs]
    if lines:
        width, plain = console.width, console.options.ascii_only
        yield from draw_rows(lines, machine.sections, machine.branches, width, plain)
        yield Text(LEGEND, style="quiet")
    said = (one.says for one in step.ranking.evidence.findings if one.rule in step.step.patterns)
    yield from bullets(dict.fromkeys(said))
    yield Text(ASKS, style="title")


def _answer(step: Played) -> Iterator[RenderableType]:
    likely = [each for each in step.ranking.causes[:_MOST_CAUSES] if each.probability >= 0.01]
    shown = (
        f"{percent(each.probability)} {each.says}".replace(" %", f"{GLUE}%") for each in likely
    )
    yield from bullets(shown)
    act = step.plan.act
    says = sentence(act.says) if act is not None else sentence(_ENDS[step.next])
    yield Text.assemble(("Next: ", "title"), says)
    for caution in act.cautions if act is not None else ():
        yield Text(f"Take care: {sentence(caution)}", style="caution")
    yield Padding(Text(step.step.because), (0, 0, 0, 2))


def show_coverage(as_json: bool) -> None:
    """Print what the worked cases exercise, and what none of them does."""
    seen = coverage(worked_cases(), load_knowledge())
    if as_json:
        print_json(build_coverage_report(seen))
        return
    for sort, every in seen.every.items():
        missing = seen.missing(sort)
        print_lines([f"{sort}: {len(every) - len(missing)} of {len(every)}"])
        print_lines(f"  not in any worked case: {name}" for name in missing)
