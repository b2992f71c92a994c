"""The ranking report for a terminal, drawn from the same values that ``--json`` prints.

Nothing is worked out here: what the terminal shows and what JSON holds cannot disagree.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from diagnose.knowledge.priors import SHIPPED
from diagnose.observations.rows import pattern_in_words, rows_in_words
from diagnose.planner.advice import DEFERRAL
from diagnose.reports.forms.ranking import (
    CauseReport,
    NextReport,
    OutcomeReport,
    RankingReport,
    WeightReport,
)
from diagnose.ui.terminal.output import GLUE, print_tidily
from diagnose.ui.terminal.rows import Line, draw_rows
from diagnose.ui.words import PLAIN_RESULTS, between, minutes_text, percent, sentence

LEGEND = "o pass   X fail   ? unsure   blank: not run"
WORTH_EXPLAINING = 0.1
"""A cause this probable gets its reasons shown."""
WORTH_LISTING = 0.01
"""Outcomes less probable than this are counted together."""
_MOST_REASONS = 4
TOLD_ELSEWHERE = ("state", "standing", "caution")
PLAIN_BLAMES = {
    "chance": "a false alarm",
    "several": "several causes together",
}


def print_ranking(report: RankingReport, console: Console, causes: int = 5, tests: int = 3) -> None:
    """Print the whole report: rows, runs, causes, why, what next, what to beware of.

    Parameters
    ----------
    causes, tests: how many of each to show at most; what is left out is counted.
    """
    parts: list[RenderableType] = [
        Text(f"{report.machine}, {report.rows} rows", style="title"),
        *priors_line(report.priors),
    ]
    parts += _picture(report, console)
    for title, shown in _chapters(report, causes, tests):
        chapter = list(shown)
        parts += [Text(), Text(title, style="title"), *chapter] if chapter else []
    print_tidily(console, Group(*parts))


def priors_line(priors: str) -> Iterator[Text]:
    """Which priors were used, when they are not the shipped ones.

    >>> [line.plain for line in priors_line("20260301-1f2e3d")]
    ['Priors learned from closed cases: set 20260301-1f2e3d.']
    """
    if priors != SHIPPED:
        yield Text(f"Priors learned from closed cases: set {priors}.", style="quiet")


def _chapters(
    report: RankingReport, causes: int, tests: int
) -> Iterator[tuple[str, Iterator[RenderableType]]]:
    names = {cause.id: cause.says for cause in report.causes}
    yield "What was seen", _runs(report)
    yield "Most likely first", _causes(report, causes)
    yield "Why", _reasons(report.causes[:causes])
    yield "Do next", _tests(report.next if tests else [], names)
    yield "Do next", bullets(report.instead if tests else [])
    yield "Before it counts as fixed", bullets(report.put_back if report.next else [])
    yield "Take care", bullets([*report.cautions, DEFERRAL], "caution")


def _picture(report: RankingReport, console: Console) -> Iterator[Text]:
    runs = enumerate(report.runs, start=1)
    lines = [Line(f"{number} {run.check}", run.pattern) for number, run in runs]
    if lines:
        yield from draw_rows(
            lines,
            report.sections,
            report.branches,
            console.width,
            console.options.ascii_only,
        )
        yield Text(LEGEND, style="quiet")


def _runs(report: RankingReport) -> Iterator[RenderableType]:
    for number, run in enumerate(report.runs, start=1):
        seen = pattern_in_words(run.pattern)
        yield from bullets([f"run {number}, {run.check}: {seen}. This run is {run.standing}"])
        yield from bullets(run.why, indent=4)
    yield from bullets(_told_by_rules(report))


def _told_by_rules(report: RankingReport) -> list[str]:
    """What rules say, except where it stands already: with the runs, or among the cautions."""
    elsewhere = {line for run in report.runs for line in run.why} | {*report.cautions}
    findings = (one for one in report.findings if one.kind not in TOLD_ELSEWHERE)
    says = dict.fromkeys(finding.says for finding in findings)
    return [line for line in says if line not in elsewhere]


def _causes(report: RankingReport, most: int) -> Iterator[RenderableType]:
    table = Table.grid(padding=(0, 2))
    table.add_column(justify="right", no_wrap=True)
    table.add_column()
    for cause in report.causes[:most]:
        table.add_row(_chance(cause), _cause(cause, report.rows))
    if report.causes:
        yield Padding(table, (0, 0, 0, 2))
    left = len(report.causes) - most
    if left > 0:
        yield Text(
            f"  {left} more are less likely; --causes {most + left} shows them all.", "quiet"
        )
    if report.groups:
        yield from bullets([f"by place: {_groups(report.groups)}"], "quiet")
    yield from bullets(_warnings(report))


def _cause(cause: CauseReport, rows: int) -> Text:
    """The cause in words with its rows and its id; for a likely one, what is done about it."""
    text = Text(cause.says, style="title")
    if cause.rows and not cause.says.startswith("row "):
        text.append(f" ({_whose(cause.rows, rows)})", "not bold")
    text.append(f"  {cause.id}", "not bold dim")
    remedy = cause.remedy
    if remedy and cause.probability >= WORTH_EXPLAINING:
        text.append(f"\n{sentence(remedy.does)} {minutes_text(remedy.minutes)}.", "not bold")
        if remedy.caution:
            text.append(f" Take care: {sentence(remedy.caution)}", "not bold")
    return text


def _percent(probability: float) -> str:
    """The chance with a blank before the sign at which no line is broken."""
    return percent(probability).replace(" %", f"{GLUE}%")


def _chance(cause: CauseReport) -> str:
    """How likely a cause is, or between what limits."""
    return between(cause.low, cause.high).replace(" ", GLUE)


def _whose(rows: Sequence[int], all_rows: int) -> str:
    return "all rows" if len(rows) == all_rows else rows_in_words(rows)


def _groups(groups: Mapping[str, float]) -> str:
    """The places by chance, most likely first.

    >>> _groups({"row": 0.9, "air": 0.04, "supply": 0.001}).replace(GLUE, " ")
    'row 90 %, air 4 %, supply under 1 %'
    """
    order = sorted(groups.items(), key=lambda item: -item[1])
    return ", ".join(f"{name} {_percent(chance)}" for name, chance in order)


def _warnings(report: RankingReport) -> Iterator[str]:
    """What to know before trusting the order of the causes."""
    for together in report.together:
        yield f"{together.says} ({_percent(together.probability)})"
    for weak in report.fragile:
        yield (
            f"fragile: were {weak.group} faults {_times(weak.factor)} as common as is "
            f"reckoned here, this would come first: {weak.says}"
        )
    if report.sharper:
        yield report.sharper
    for each in report.left_out:
        yield f"left out, because there are too many failing runs: {each}"


def _times(factor: float) -> str:
    """How many times as common.

    >>> _times(3.0), _times(1 / 3)
    ('3 times', 'a third')
    """
    fractions = {2: "half", 3: "a third", 4: "a quarter"}
    if factor >= 1:
        return f"{factor:g} times"
    return fractions.get(round(1 / factor), f"{factor:.2g} times")


def _reasons(causes: Sequence[CauseReport]) -> Iterator[RenderableType]:
    for cause in causes:
        reasons = [*_weighed(cause.for_, "for"), *_weighed(cause.against, "against")]
        if reasons and cause.probability >= WORTH_EXPLAINING:
            yield Text(f"  {cause.says}")
            yield from bullets(reasons, indent=4)


def _weighed(reasons: Sequence[WeightReport], side: str) -> Iterator[str]:
    return (f"{reason.words} {side}: {reason.says}" for reason in reasons[:_MOST_REASONS])


def _tests(tests: Sequence[NextReport], names: Mapping[str, str]) -> Iterator[RenderableType]:
    for number, test in enumerate(tests, start=1):
        table = Table.grid(padding=(0, 1))
        table.add_column(width=4, justify="right")
        table.add_column()
        table.add_row(f"{number}.", Group(*_test(test, names)))
        yield table


def _test(test: NextReport, names: Mapping[str, str]) -> Iterator[RenderableType]:
    first = "before anything else: " if test.required else ""
    head = Text(sentence(first + test.says), style="title")
    head.append(f" About {minutes_text(test.minutes)}.", "not bold")
    if test.expected_minutes:
        head.append(f" All well after {minutes_text(test.expected_minutes)} on average.", "quiet")
    yield head
    if test.needs:
        yield Text(f"Needs: {', '.join(test.needs)}.")
    yield _outcomes(test, names)
    for caution in test.cautions:
        yield Text(f"Take care: {sentence(caution)}", style="caution")


def _outcomes(test: NextReport, names: Mapping[str, str]) -> Table:
    outcomes = test.outcomes
    table = Table.grid(padding=(0, 2))
    table.add_column(justify="right", no_wrap=True, min_width=9)
    table.add_column()
    for outcome in outcomes:
        if outcome.probability >= WORTH_LISTING:
            table.add_row(_percent(outcome.probability), _outcome(outcome, test, names))
    rare = [each.probability for each in outcomes if each.probability < WORTH_LISTING]
    if rare:
        table.add_row(_percent(sum(rare)), "other results")
    return table


def _outcome(outcome: OutcomeReport, test: NextReport, names: Mapping[str, str]) -> str:
    leads_to = outcome.leads_to
    result = PLAIN_RESULTS.get(outcome.result, outcome.result.rstrip("."))
    if leads_to == "mended":
        rows = test.trouble_rows
        mended = f"{rows_in_words(rows).capitalize()} {'is' if len(rows) == 1 else 'are'} mended"
        return f"{result}. {mended}; the final full pass is left"
    blame = names.get(leads_to) or PLAIN_BLAMES.get(leads_to, leads_to)
    chance = _percent(outcome.leads_to_probability)
    return f"{result}. Likeliest for row {test.blames_row} then: {blame} ({chance})"


def bullets(lines: Iterable[str], style: str = "", indent: int = 2) -> Iterator[RenderableType]:
    """The lines as a list with dashes; nothing when there are none.

    >>> print_tidily(Console(width=40), Group(*bullets(["row 6 failed", "the oil was cold"])))
      - Row 6 failed.
      - The oil was cold.
    """
    table = Table.grid(padding=(0, 1))
    table.add_column(width=indent + 1, justify="right")
    table.add_column()
    for line in lines:
        table.add_row("-", Text(sentence(line), style=style))
    if table.row_count:
        yield table
