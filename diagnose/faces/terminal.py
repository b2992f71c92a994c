"""The ranking report for a terminal, drawn from the same values that ``--json`` prints.

Nothing is worked out here: what the terminal shows and what JSON holds cannot disagree.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from diagnose.cases.rows import rows_in_words
from diagnose.faces.rowpicture import Line, draw_rows
from diagnose.faces.words import minutes_text, percent, plain, sentence

Report = Mapping[str, Any]

DEFERRAL = (
    "The machine's own manual, local codes and a qualified technician come first; "
    "where they say otherwise, follow them."
)
LEGEND = "o pass   X fail   ? unsure   blank: not run"
WORTH_EXPLAINING = 0.1


def print_ranking(report: Report, console: Console, causes: int = 5, tests: int = 3) -> None:
    """Print the whole report: rows, runs, causes, why, what next, cautions.

    Parameters
    ----------
    report: a ranking as ``rowfault/ranking/1`` describes it.
    causes, tests: how many of each to show at most; the rest is counted.
    """
    for title, parts in _chapters(report, console, causes, tests):
        shown = [part for part in parts if part]
        if shown:
            console.print()
            console.print(Text(title, style="title"))
            for part in shown:
                console.print(part)


def _chapters(
    report: Report, console: Console, causes: int, tests: int
) -> Iterator[tuple[str, list[RenderableType]]]:
    yield f"{report['machine']}, {report['rows']} rows", [*_picture(report, console)]
    yield "What the runs are worth", [*map(_run, _numbered(report["runs"]))]
    yield "What the pattern says", [_bullets(_seen(report))]
    yield "Most likely first", [*_causes(report, causes)]
    yield "Why", [*_reasons(report, causes)]
    yield "Do next", [*_tests(report, tests)]
    yield "Take care", [_bullets([*report["cautions"], DEFERRAL], "caution")]


def _numbered(runs: Sequence[Report]) -> list[tuple[int, Report]]:
    return list(enumerate(runs, start=1))


def _picture(report: Report, console: Console) -> Iterator[RenderableType]:
    lines = [Line(f"{n} {run['check']}", run["pattern"]) for n, run in _numbered(report["runs"])]
    if lines:
        yield from draw_rows(
            lines,
            report.get("sections") or {"rows": list(range(1, report["rows"] + 1))},
            report.get("branches") or {},
            console.width,
            console.options.ascii_only,
        )
        yield Text(LEGEND, style="quiet")


def _run(numbered: tuple[int, Report]) -> RenderableType:
    number, run = numbered
    head = f"Run {number}, {run['check']}: {run['standing']}. {_counts(run['pattern'])}"
    return Group(Text(head), _bullets(run["why"]))


def _counts(pattern: str) -> str:
    """What a run showed, in words.

    >>> _counts("PPF?.")
    'Failed: row 3. Unsure: row 4. Passed: 2 of 4.'
    """
    rows = {mark: [n for n, seen in enumerate(pattern, 1) if seen == mark] for mark in "PF?"}
    failed = sentence(f"failed: {rows_in_words(rows['F'])}" if rows["F"] else "none failed")
    unsure = f" Unsure: {rows_in_words(rows['?'])}." if rows["?"] else ""
    return f"{failed}{unsure} Passed: {len(rows['P'])} of {len(pattern) - pattern.count('.')}."


def _seen(report: Report) -> list[str]:
    """What rules say about the pattern; what they say about runs stands with the runs."""
    told = {line for run in report["runs"] for line in run["why"]}
    says = (finding["says"] for finding in report["findings"])
    return [line for line in dict.fromkeys(says) if line not in told]


def _causes(report: Report, most: int) -> Iterator[RenderableType]:
    table = Table.grid(padding=(0, 2))
    table.add_column(justify="right", no_wrap=True)
    table.add_column(overflow="fold")
    table.add_column(overflow="fold", max_width=20)
    for cause in report["causes"][:most]:
        table.add_row(percent(cause["probability"]), _cause(cause), _rows(cause))
    yield Padding(table, (0, 0, 0, 2))
    if len(report["causes"]) > most:
        yield Text(f"  and {len(report['causes']) - most} less likely; --causes shows more")
    yield Text(f"By place: {_groups(report['groups'])}.", style="quiet")
    yield from map(Text, _warnings(report))


def _cause(cause: Report) -> Text:
    """The cause in words, with the remedy and its id below."""
    text = Text(cause.get("says") or f"{cause['part']}: {plain(cause['mode'])}", style="title")
    remedy = cause.get("remedy")
    if remedy:
        text.append(f"\n{sentence(remedy['does'])} {minutes_text(remedy['minutes'])}.", "not bold")
    return text


def _rows(cause: Report) -> str:
    return rows_in_words(cause["rows"]) if cause["rows"] else ""


def _groups(groups: Mapping[str, float]) -> str:
    """The places by chance, most likely first.

    >>> _groups({"row": 0.9, "air": 0.04, "supply": 0.001})
    'row 90 %, air 4 %, supply under 1 %'
    """
    order = sorted(groups.items(), key=lambda item: -item[1])
    return ", ".join(f"{name} {percent(chance)}" for name, chance in order)


def _warnings(report: Report) -> Iterator[str]:
    """What to know before trusting the order of the causes."""
    for together in report.get("together") or []:
        yield sentence(f"only together do these explain it: {' and '.join(together['causes'])}")
    for weak in report.get("fragile") or []:
        yield sentence(
            f"this order is fragile: were {weak['group']} faults {weak['factor']} as common "
            f"as assumed, {weak['leads_to']} would come first"
        )


def _reasons(report: Report, causes: int) -> Iterator[RenderableType]:
    for cause in report["causes"][:causes]:
        if cause["probability"] >= WORTH_EXPLAINING and (cause["for"] or cause["against"]):
            reasons = [*_weighed(cause["for"], "for"), *_weighed(cause["against"], "against")]
            yield Group(Text(f"  {cause['id']}"), _bullets(reasons, indent=4))


def _weighed(reasons: Sequence[Report], side: str) -> Iterator[str]:
    return (f"{reason['strength']} {side}: {reason['says']}" for reason in reasons)


def _tests(report: Report, most: int) -> Iterator[RenderableType]:
    for number, test in enumerate(report["next"][:most], start=1):
        table = Table.grid(padding=(0, 2))
        table.add_column(width=2)
        table.add_column()
        table.add_row(f"{number}.", _test(test))
        yield table


def _test(test: Report) -> RenderableType:
    head = Text(sentence(test.get("says") or test["id"]))
    head.append(f" About {minutes_text(test['minutes'])}.", "quiet")
    outcomes = Table.grid(padding=(0, 2))
    for outcome in test["outcomes"]:
        outcomes.add_row(percent(outcome["probability"]), outcome["result"], _then(outcome))
    return Group(head, outcomes, _bullets(test.get("cautions") or [], "caution"))


def _then(outcome: Report) -> str:
    return f"then {outcome['leads_to']}" if outcome["leads_to"] else "then nothing stands out"


def _bullets(lines: Sequence[str], style: str = "", indent: int = 2) -> RenderableType:
    table = Table.grid(padding=(0, 1))
    table.add_column(width=indent + 1, justify="right")
    table.add_column()
    for line in lines:
        table.add_row("-", Text(sentence(line), style=style))
    return table if lines else ""
