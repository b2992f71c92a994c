"""A plan for a terminal, and as a graph in the DOT language of Graphviz."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from textwrap import wrap

from rich.console import Console, Group, RenderableType
from rich.text import Text
from rich.tree import Tree

from diagnose.observations.rows import rows_in_words
from diagnose.planner.advice import DEFERRAL
from diagnose.reports.forms.ranking import EndReport, PlanReport, StepReport
from diagnose.reports.plan import acts_in
from diagnose.ui.terminal.output import print_tidily
from diagnose.ui.terminal.ranking import bullets, priors_line
from diagnose.ui.words import PLAIN_RESULTS, minutes_text, percent, sentence

GOALS = {
    "restore": "fewest minutes to a machine that is proven good",
    "isolate": "most told per minute",
}


def print_plan(report: PlanReport, console: Console) -> None:
    """Print the plan: what it is about, minutes, the tree, the isolating retest, cautions."""
    parts: list[RenderableType] = [
        Text(f"{report.machine}: plan for {GOALS[report.goal]}", style="title"),
        *priors_line(report.priors),
    ]
    for title, shown in _chapters(report):
        chapter = list(shown)
        parts += [Text(), Text(title, style="title"), *chapter] if chapter else []
    print_tidily(console, Group(*parts))


def _chapters(report: PlanReport) -> Iterator[tuple[str, Iterator[RenderableType]]]:
    yield "How long", bullets(_minutes(report))
    yield "What to do", iter([_drawn(report.tree)])
    yield "To hand over", bullets(report.summary if _hands_over(report.tree) else ())
    yield "All at once", bullets(_isolating(report))
    yield "Take care", bullets([*_cautions(report.tree), DEFERRAL], "caution")


def _hands_over(tree: StepReport | EndReport) -> bool:
    return isinstance(tree, EndReport) and tree.conclusion == "hand-over"


def _minutes(report: PlanReport) -> Iterator[str]:
    if report.about_rows:
        expected = report.expected_minutes
        yield f"about {rows_in_words(report.about_rows)}"
        for rows in report.other_rows:
            own = "its own" if len(rows) == 1 else "their own"
            yield f"{rows_in_words(rows)} failed for a cause of {own}, to be planned after this"
        yield f"following the plan: {minutes_text(expected.plan)} on average, parts included"
        yield (
            f"stopping to test now and repairing in order: "
            f"{minutes_text(expected.repair_only)} on average"
        )
    yield report.proof


def _drawn(tree: StepReport | EndReport) -> Tree:
    drawn = Tree(_head(tree), guide_style="quiet")
    _grow(drawn, tree)
    return drawn


def _grow(drawn: Tree, node: StepReport | EndReport) -> None:
    outcomes = node.outcomes if isinstance(node, StepReport) else ()
    for outcome in outcomes:
        then = outcome.then
        if not _left_open(then):
            said = PLAIN_RESULTS.get(outcome.result, outcome.result.rstrip("."))
            text = Text(f"{said}, {percent(outcome.probability)}: ")
            below = drawn.add(text + _head(then))
            _grow(below, then)
    rare = [outcome.probability for outcome in outcomes if _left_open(outcome.then)]
    if rare:
        drawn.add(Text(f"other results, {percent(sum(rare))}: rank again with what was seen."))


def _left_open(node: StepReport | EndReport) -> bool:
    """Whether an outcome was too rare to plan for."""
    return isinstance(node, EndReport) and node.conclusion == "open" and node.leading is None


def _head(node: StepReport | EndReport) -> Text:
    if isinstance(node, EndReport):
        text = Text(sentence(node.says))
        for act in node.acts:
            text.append(f"\n{sentence(act.says)} About {minutes_text(act.minutes)}.")
        return text
    act = node.act
    text = Text(sentence(act.says), style="title")
    text.append(f" About {minutes_text(act.minutes)}.", "not bold")
    text.append(f"  {act.id}", "not bold dim")
    return text


def _isolating(report: PlanReport) -> Iterator[str]:
    """The tests to decide on at once, and what they leave together."""
    found = report.isolating
    if found and found.acts:
        how = (
            "no cheaper set does as much"
            if found.optimal
            else f"at most {found.guarantee:.1f} times the cheapest"
        )
        yield (
            f"to tell the leading causes apart with tests all chosen now: "
            f"{', '.join(found.acts)}; {minutes_text(found.minutes)}; {how}"
        )
    for group in report.inseparable:
        same = "one remedy does for all" if group.same_remedy else "their remedies differ"
        yield f"no test at hand tells these apart: {', '.join(group.causes)}; {same}"


def _cautions(node: StepReport | EndReport) -> list[str]:
    """The cautions of every act of the tree, each once."""
    found: dict[str, None] = {}
    for act in acts_in(node):
        found |= dict.fromkeys(act.cautions)
    for outcome in node.outcomes if isinstance(node, StepReport) else ():
        found |= dict.fromkeys(_cautions(outcome.then))
    return list(found)


_ACROSS = 36
"""Letters in a line of a box."""


def dot_lines(machine: str, tree: StepReport | EndReport) -> Iterator[str]:
    r"""The plan's tree, a box for each act, a rounded one for each end, an edge for each outcome.

    >>> end = EndReport(
    ...     conclusion="proven", says='all "good"', leading=None, leading_probability=None, acts=()
    ... )
    >>> print(*dot_lines("m", end), sep=chr(10))
    digraph plan {
      rankdir=LR; node [shape=box]; label="m";
      n1 [label="All \"good\".", style=rounded];
    }
    """
    yield "digraph plan {"
    yield f"  rankdir=LR; node [shape=box]; label={_quoted(machine)};"
    numbers = count(1)
    yield from _node(tree, next(numbers), numbers)
    yield "}"


def _node(node: StepReport | EndReport, number: int, numbers: Iterator[int]) -> Iterator[str]:
    if isinstance(node, EndReport):
        yield f"  n{number} [label={_quoted(sentence(node.says))}, style=rounded];"
        return
    act = node.act
    label = f"{sentence(act.says)} {minutes_text(act.minutes)}"
    yield f"  n{number} [label={_quoted(label)}];"
    for outcome in node.outcomes:
        child = next(numbers)
        result = PLAIN_RESULTS.get(outcome.result, outcome.result.rstrip("."))
        edge = f"{result}, {percent(outcome.probability)}"
        yield f"  n{number} -> n{child} [label={_quoted(edge)}];"
        yield from _node(outcome.then, child, numbers)


def _quoted(text: str) -> str:
    lines = [line.replace("\\", "\\\\").replace('"', '\\"') for line in wrap(text, _ACROSS)]
    return '"' + "\\n".join(lines) + '"'
