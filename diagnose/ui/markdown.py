"""Reports, the readiness sheet and the season record as Markdown."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from diagnose.observations.rows import pattern_in_words, rows_in_words
from diagnose.reports.forms.case import (
    CaseReport,
    ConclusionReport,
    CountedRun,
    HandoverReport,
    NotPlanned,
    OverTime,
    PartUsed,
    SeasonReport,
    TimelineEntry,
)
from diagnose.reports.forms.listings import GroupReport, ItemReport, ReadinessReport
from diagnose.reports.forms.ranking import CauseReport, EndReport, StepReport
from diagnose.reports.plan import acts_in
from diagnose.ui.streams import visible
from diagnose.ui.terminal.ranking import LEGEND
from diagnose.ui.terminal.rows import Line, draw_rows
from diagnose.ui.words import minutes_text, moment, outcome, percent, sentence

SPECIAL = re.compile(r"([\\`*_\[\]<>|~&$@])")
"""Marks that mean something to Markdown or HTML wherever they stand."""
LINKS_ITSELF = re.compile(r"(?i)(\b(?:https?|ftp|mailto|xmpp|www))([:.])")
AT_THE_START = re.compile(r"^([-+#=]|\d+(?=[.)]))")
"""Marks that make a list, a heading or a rule of the line that they begin."""


def escaped(text: str) -> str:
    r"""Text that Markdown shows as it was written, on one line.

    >>> escaped("<b>no</b> [link](x)"), escaped("- see http://x.y"), escaped("3. none")
    ('\\<b\\>no\\</b\\> \\[link\\](x)', '\\- see http\\://x.y', '3\\. none')
    """
    one_line = " ".join(visible(text).split())
    marked = LINKS_ITSELF.sub(r"\1\\\2", SPECIAL.sub(r"\\\1", one_line))
    return AT_THE_START.sub(_held, marked)


def _held(start: re.Match[str]) -> str:
    """A first mark with a backslash before it, or behind it when it is a number."""
    return f"{start[0]}\\" if start[0].isdigit() else f"\\{start[0]}"


def said(text: str) -> str:
    """A sentence, escaped.

    >>> said("row 5 failed")
    'Row 5 failed.'
    """
    return escaped(sentence(text))


def report_markdown(report: CaseReport) -> str:
    """A report in the form ``rowfault/report/1`` as Markdown."""
    title = report.machine.id + (f": {report.title}" if report.title else "")
    chapters = (
        ("The job", _job(report)),
        ("Conclusion", _conclusion(report.conclusion)),
        ("Proof", _proof(report)),
        ("Not ranked", _items([report.impossible])),
        ("Most likely now", _causes(report)),
        ("Do next", _next(report.next)),
        ("Suspected parts", _suspected(report.suspicion)),
        ("Runs that count", _runs(report.runs)),
        ("Causes over time", _over_time(report.over_time)),
        ("What was told and done", _timeline(report.timeline)),
        ("Parts used", _parts(report.parts_used)),
        ("Take care", _items(report.cautions)),
    )
    return document(f"{title}", [*_rows(report)], chapters)


def document(title: str, lead: Sequence[str], chapters: Iterable[tuple[str, Iterable[str]]]) -> str:
    r"""A title, what comes first, and the chapters that have something in them.

    >>> document("Row *6*", ["Two rows."], [("Runs", []), ("Parts", ["- None."])]).splitlines()
    ['# Row \\*6\\*', '', 'Two rows.', '', '## Parts', '', '- None.']
    """
    lines = [f"# {escaped(title)}", "", *lead]
    for name, content in chapters:
        told = list(content)
        lines += ["", f"## {name}", "", *told] if told else []
    return "\n".join(lines) + "\n"


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """A table; its cells are escaped already.

    >>> list(_table(("Run", "Seen"), [("1", "all pass")]))
    ['| Run | Seen |', '| --- | --- |', '| 1 | all pass |']
    """
    yield f"| {' | '.join(head)} |"
    yield f"| {' | '.join('---' for _ in head)} |"
    for row in rows:
        yield f"| {' | '.join(row)} |"


def _items(says: Iterable[str | None]) -> Iterator[str]:
    return (f"- {said(one)}" for one in says if one)


def _rows(report: CaseReport) -> Iterator[str]:
    """What failed, and the picture of the rows in signs."""
    failed = [row.row for row in report.rows if row.mark == "fail"]
    rows = report.machine.rows
    says = f"Failed last: {rows_in_words(failed)} of {rows}" if failed else "No row failed last"
    yield f"**{says}**"
    yield ""
    yield "```text"
    checks = list(report.rows[0].checks)
    lines = [Line(check, "".join(row.checks[check] for row in report.rows)) for check in checks]
    layout = report.layout
    sections = {one.id: one.rows for one in layout.sections}
    branches = {one.id: one.rows for one in layout.branches}
    yield from (line.plain for line in draw_rows(lines, sections, branches))
    yield LEGEND
    yield "```"


def _job(report: CaseReport) -> Iterator[str]:
    facts = (
        ("Case", report.case),
        ("Machine", report.machine.name),
        ("Stands", report.outcome_says),
        ("With", report.owner if report.outcome == "open" else None),
        ("Handed over", _handed_over(report.handed_over)),
        ("Opened", moment(report.opened)),
        ("Last entry", f"{moment(report.last)}, {minutes_text(report.minutes)} by the clock"),
        ("Told by", ", ".join(report.who)),
        ("Its past", "; ".join(report.history)),
        ("Priors", report.priors),
    )
    return (f"- {name}: {escaped(value)}" for name, value in facts if value)


def _handed_over(handed: HandoverReport | None) -> str | None:
    """Who handed the case over, to whom, when and why."""
    if handed is None:
        return None
    to = f" to {handed.to}" if handed.to else ""
    why = f": {handed.why}" if handed.why else ""
    return f"by {handed.by}{to}, {moment(handed.at)}{why}"


def _conclusion(ended: ConclusionReport | None) -> Iterator[str]:
    if ended is None:
        return
    yield f"The case ended: {ended.outcome_says}."
    if ended.says:
        yield from ("", escaped(ended.says))
    for cause in ended.causes:
        was = cause.was_there
        there = f" It was there with {percent(was)}." if was is not None else ""
        yield from ("", f"- {said(cause.says)}{there}")


def _proof(report: CaseReport) -> Iterator[str]:
    proof = report.proof
    if proof is None:
        return
    yield said(proof.says)
    if proof.holds:
        runs = ", ".join(map(str, proof.runs))
        yield from ("", f"By full runs, all rows together: {runs}.")
    for cause in report.cured:
        there = f"It was there with {percent(cause.probability)}."
        yield from ("", f"- Gone since a remedy cleared it: {said(cause.says)} {there}")


def _causes(report: CaseReport) -> Iterable[str]:
    if not report.causes or report.outcome == "proven":
        return ()
    rows = ((percent(c.probability), said(c.says), _remedy(c)) for c in report.causes[:6])
    return _table(("Chance", "Cause", "What is done about it"), rows)


def _remedy(cause: CauseReport) -> str:
    remedy = cause.remedy
    if not remedy:
        return ""
    caution = f" **Take care:** {said(remedy.caution)}" if remedy.caution else ""
    return f"{said(remedy.does)} {minutes_text(remedy.minutes)}.{caution}"


def _next(tree: StepReport | EndReport | NotPlanned | None) -> Iterator[str]:
    if tree is None:
        return
    if not isinstance(tree, StepReport):
        yield from (said(tree.says), "")
    for act in () if isinstance(tree, NotPlanned) else acts_in(tree):
        yield f"**{said(act.says)}** About {minutes_text(act.minutes)}."
        yield ""
        yield from _items([f"Needs: {', '.join(act.needs)}" if act.needs else None])
        yield from _items(f"Take care: {caution}" for caution in act.cautions)
    for branch in tree.outcomes if isinstance(tree, StepReport) else ():
        yield f"- {percent(branch.probability)}: {said(outcome(branch.result))}"


def _suspected(suspicion: Mapping[str, float]) -> Iterable[str]:
    likely = sorted(suspicion.items(), key=lambda each: -each[1])
    rows = [(percent(chance), escaped(part)) for part, chance in likely if chance >= 0.01]
    return _table(("Chance", "Part"), rows) if rows else ()


def _runs(runs: Sequence[CountedRun]) -> Iterable[str]:
    head = ("Run", "What it showed", "Circumstances", "Told")
    return _table(head, map(run_cells, runs)) if runs else ()


def run_cells(run: CountedRun) -> tuple[str, ...]:
    """A run as cells of a table.

    >>> run = CountedRun(
    ...     run=2, entry=3, at="2026-03-14T07:30:00+00:00", who="Ann", check="bleed",
    ...     pattern="PPPPPF", circumstances=("oil cold",), after_work=0, standing="weak", why=(),
    ... )
    >>> run_cells(run)[:3]
    ('2 bleed', 'Row 6 failed, 5 of 6 passed. This run is weak.', 'oil cold')
    """
    standing = f" This run is {run.standing}." if run.standing else ""
    return (
        f"{run.run} {run.check}",
        said(pattern_in_words(run.pattern)) + standing,
        escaped("; ".join(run.circumstances)),
        escaped(f"{moment(run.at)}, {run.who}"),
    )


def _over_time(over_time: OverTime) -> Iterator[str]:
    if not over_time.points:
        return
    causes = [escaped(cause.says) for cause in over_time.causes]
    rows = (
        (str(point.entry), *("" if c is None else percent(c) for c in point.chances))
        for point in over_time.points
    )
    yield from _table(("After entry", *causes), rows)


def _timeline(timeline: Sequence[TimelineEntry]) -> Iterator[str]:
    for entry in timeline:
        who = escaped(f"{moment(entry.at)}, {entry.who}")
        says = said(entry.says)
        gone = entry.corrected
        if gone is not None and not entry.counts:
            how = "put right" if gone.instead else "taken back"
            by = f"by {escaped(gone.who)} in entry {gone.by}"
            says = f"{says} *Does not count: {how} {by}.*"
        yield f"{entry.number}. {who}: {says}"


def _parts(parts: Sequence[PartUsed]) -> Iterator[str]:
    return _items(f"{used.says}: {used.does} ({used.price_says})" for used in parts)


TICKS = {"good": "[x]", "bad": "[ ]", "to see to": "[ ]"}


def readiness_markdown(sheet: ReadinessReport) -> str:
    """A sheet in the form ``rowfault/readiness/1`` as Markdown.

    >>> sheet = ReadinessReport(
    ...     machine="mine", name="Old", rows=6, groups=(), likelier=("air",), questions=(),
    ...     minutes=72, cautions=(),
    ... )
    >>> [line for line in readiness_markdown(sheet).splitlines() if line][1:]
    ['Old, 6 rows. About 1 h 12 min in all.', '## Likelier after what was said', '- Air.']
    """
    lead = [
        f"{escaped(sheet.name)}, {sheet.rows} rows. About {minutes_text(sheet.minutes)} in all."
    ]
    groups = ((sentence(each.title).rstrip("."), _group(each)) for each in sheet.groups)
    questions = (
        f"{escaped(each.question)} {escaped(each.id)}={escaped(' or '.join(each.choices))}"
        for each in sheet.questions
    )
    chapters = (
        *groups,
        ("Likelier after what was said", _bulleted(map(said, sheet.likelier))),
        ("Worth knowing", _bulleted(questions)),
        ("Take care", _bulleted(map(said, sheet.cautions))),
    )
    return document(f"Before the checks: {sheet.machine}", lead, chapters)


def season_markdown(season: SeasonReport) -> str:
    """A record in the form ``rowfault/season/1`` as Markdown.

    >>> from diagnose.reports.forms.case import MachineReport, ProofReport
    >>> text = season_markdown(
    ...     SeasonReport(
    ...         case="a", title=None, machine=MachineReport(id="mine", name="Old", rows=6),
    ...         opened="2026-03-14T07:00:00+00:00", last="2026-03-14T07:30:00+00:00", who=("Ann",),
    ...         history=(), runs=(), parts_used=(), proven_at="2026-03-14T07:30:00+00:00", work=(),
    ...         found=(), proof=ProofReport(holds=True, says="both passed", runs=(2, 3)),
    ...         priors="shipped", cautions=(),
    ...     )
    ... )
    >>> text.splitlines()[2], text.splitlines()[5]
    ('**Both passed.**', '- Proven: 2026-03-14 07:30 UTC, by runs 2, 3')
    """
    machine, proof = season.machine, season.proof
    runs = ", ".join(map(str, proof.runs))
    facts = (
        ("Machine", f"{machine.name}, {machine.rows} rows"),
        ("Proven", f"{moment(season.proven_at)}, by runs {runs}"),
        ("Case", season.case + (f", {season.title}" if season.title else "")),
        ("Told by", ", ".join(season.who)),
        ("Its past", "; ".join(season.history)),
    )
    lead = [f"**{said(proof.says)}**", ""]
    lead += [f"- {name}: {escaped(value)}" for name, value in facts if value]
    head = ("Run", "What it showed", "Circumstances", "Told")
    found = [f"found at fault, and gone since: {each.says}" for each in season.found]
    work = [*season.work, *found] or ["nothing was repaired"]
    parts = (f"{used.says}: {used.does}" for used in season.parts_used)
    chapters = (
        ("Runs", _table(head, map(run_cells, season.runs))),
        ("What was repaired", _bulleted(map(said, work))),
        ("Parts used", _bulleted(map(said, parts))),
        ("Take care", _bulleted(map(said, season.cautions))),
        ("Signed", ["Name and signature: ................................ Date: ............"]),
    )
    return document(f"Season record: {machine.id}", lead, chapters)


def _bulleted(lines: Iterable[str]) -> Iterator[str]:
    return (f"- {line}" for line in lines)


def _group(group: GroupReport) -> Iterator[str]:
    if group.needs:
        yield f"Wants {escaped(', '.join(group.needs))}."
        yield ""
    for item in group.items:
        yield f"- {TICKS[item.standing]} **{_about(item)}** {said(item.says)}{_does(item)}"
        yield from (f"  - Take care: {said(caution)}" for caution in item.cautions)
    yield from (f"- Take care: {said(caution)}" for caution in group.cautions)


def _about(item: ItemReport) -> str:
    return f"{sentence(item.standing).rstrip('.')}, {escaped(item.about)}:"


def _does(item: ItemReport) -> str:
    does = f" {said(item.does)}" if item.does else ""
    return does + (f" About {minutes_text(item.minutes)}." if item.minutes else "")
