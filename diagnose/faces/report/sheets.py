"""The readiness sheet and the season record as Markdown."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from diagnose.faces.report.markdown import document, escaped, run_cells, said, table
from diagnose.faces.report.words import moment
from diagnose.faces.words import minutes_text, sentence

Data = Mapping[str, Any]

TICKS = {"good": "[x]", "bad": "[ ]", "to see to": "[ ]"}


def readiness_markdown(sheet: Data) -> str:
    """A sheet in the form ``rowfault/readiness/1`` as Markdown.

    >>> sheet = dict.fromkeys(("groups", "likelier", "questions", "cautions"), ())
    >>> sheet |= {"machine": "mine", "name": "Old", "rows": 6, "minutes": 72, "likelier": ["air"]}
    >>> [line for line in readiness_markdown(sheet).splitlines() if line][1:]
    ['Old, 6 rows. About 1 h 12 min in all.', '## Likelier after what was said', '- Air.']
    """
    lead = [
        f"{escaped(sheet['name'])}, {sheet['rows']} rows. "
        f"About {minutes_text(sheet['minutes'])} in all."
    ]
    groups = ((sentence(each["title"]).rstrip("."), _group(each)) for each in sheet["groups"])
    questions = (
        f"{escaped(each['question'])} {escaped(each['id'])}={escaped(' or '.join(each['choices']))}"
        for each in sheet["questions"]
    )
    chapters = (
        *groups,
        ("Likelier after what was said", _items(map(said, sheet["likelier"]))),
        ("Worth knowing", _items(questions)),
        ("Take care", _items(map(said, sheet["cautions"]))),
    )
    return document(f"Before the checks: {sheet['machine']}", lead, chapters)


def season_markdown(record: Data) -> str:
    """A record in the form ``rowfault/season/1`` as Markdown.

    >>> record = dict.fromkeys(("history", "runs", "found", "work", "parts_used", "cautions"), ())
    >>> record |= {"machine": {"id": "mine", "name": "Old", "rows": 6}, "case": "a", "title": ""}
    >>> record |= {"proof": {"says": "both passed", "runs": [2, 3]}, "who": ["Ann"]}
    >>> text = season_markdown(record | {"proven_at": "2026-03-14T07:30:00+00:00"})
    >>> text.splitlines()[2], text.splitlines()[5]
    ('**Both passed.**', '- Proven: 2026-03-14 07:30 UTC, by runs 2, 3')
    """
    machine, proof = record["machine"], record["proof"]
    runs = ", ".join(map(str, proof["runs"]))
    facts = (
        ("Machine", f"{machine['name']}, {machine['rows']} rows"),
        ("Proven", f"{moment(record['proven_at'])}, by runs {runs}"),
        ("Case", record["case"] + (f", {record['title']}" if record["title"] else "")),
        ("Told by", ", ".join(record["who"])),
        ("Its past", "; ".join(record["history"])),
    )
    lead = [f"**{said(proof['says'])}**", ""]
    lead += [f"- {name}: {escaped(value)}" for name, value in facts if value]
    head = ("Run", "What it showed", "Circumstances", "Told")
    found = [f"found at fault, and gone since: {each['says']}" for each in record["found"]]
    work = [*record["work"], *found] or ["nothing was repaired"]
    parts = (f"{used['says']}: {used['does']}" for used in record["parts_used"])
    chapters = (
        ("Runs", table(head, map(run_cells, record["runs"]))),
        ("What was repaired", _items(map(said, work))),
        ("Parts used", _items(map(said, parts))),
        ("Take care", _items(map(said, record["cautions"]))),
        ("Signed", ["Name and signature: ................................ Date: ............"]),
    )
    return document(f"Season record: {machine['id']}", lead, chapters)


def _items(lines: Iterable[str]) -> Iterator[str]:
    return (f"- {line}" for line in lines)


def _group(group: Data) -> Iterator[str]:
    if group["needs"]:
        yield f"Wants {escaped(', '.join(group['needs']))}."
        yield ""
    for item in group["items"]:
        yield f"- {TICKS[item['standing']]} **{_about(item)}** {said(item['says'])}{_does(item)}"
        yield from (f"  - Take care: {said(caution)}" for caution in item["cautions"])
    yield from (f"- Take care: {said(caution)}" for caution in group["cautions"])


def _about(item: Data) -> str:
    return f"{sentence(item['standing']).rstrip('.')}, {escaped(item['about'])}:"


def _does(item: Data) -> str:
    does = f" {said(item['does'])}" if item["does"] else ""
    return does + (f" About {minutes_text(item['minutes'])}." if item["minutes"] else "")
