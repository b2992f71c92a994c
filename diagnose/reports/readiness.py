"""What to see to before the checks, in the form ``rowfault/readiness/1``."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.advice import DEFERRAL
from diagnose.knowledge.base import Knowledge
from diagnose.readiness import BEFORE, EVERY, Item, Readiness
from diagnose.reports.forms.readiness import (
    GroupReport,
    ItemReport,
    QuestionReport,
    ReadinessReport,
)


def build_readiness_report(ready: Readiness) -> ReadinessReport:
    """What to see to, as a report.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.readiness import read_readiness
    >>> machine = load_machine("mounted-6")
    >>> ready = read_readiness(machine, ["engine=on", "oil=54C"], load_knowledge())
    >>> group = build_readiness_report(ready).groups[1]
    >>> group.title, [(item.id, item.standing) for item in group.items][:3]
    ('for every check', [('engine', 'good'), ('moving', 'to see to'), ('oil', 'good')])
    """
    knowledge = ready.knowledge
    likelier = (f.says for f in ready.evidence.findings if f.kind == "prior")
    cautions = (caution for check in knowledge.checks.values() for caution in check.cautions)
    return ReadinessReport(
        machine=ready.machine.id,
        name=ready.machine.name,
        rows=ready.machine.rows,
        groups=tuple(_group(when, ready) for when in (BEFORE, EVERY, *knowledge.checks)),
        likelier=tuple(dict.fromkeys(likelier)),
        questions=tuple(_questions(ready)),
        minutes=sum(item.minutes for item in ready.items),
        cautions=tuple(dict.fromkeys([*cautions, DEFERRAL])),
    )


def _group(when: str, ready: Readiness) -> GroupReport:
    knowledge = ready.knowledge
    return GroupReport(
        id=when,
        title=_title(when, knowledge),
        needs=knowledge.checks[when].needs if when in knowledge.checks else (),
        items=tuple(_item(item) for item in ready.items if item.when == when),
        cautions=_setup_cautions(when, ready),
    )


def _questions(ready: Readiness) -> Iterator[QuestionReport]:
    """The questions about the machine's past that nobody has answered."""
    for name, kind in ready.knowledge.of_scope("case").items():
        if name not in ready.past and kind.ask is not None:
            yield QuestionReport(
                id=kind.id, question=kind.ask.question, choices=tuple(kind.choices)
            )


def _title(when: str, knowledge: Knowledge) -> str:
    return f"for the {knowledge.checks[when].name}" if when in knowledge.checks else when


def _setup_cautions(when: str, ready: Readiness) -> tuple[str, ...]:
    """What the set-up of a check warns of, unless one of its own items says it already."""
    checks, setups = ready.knowledge.checks, ready.knowledge.setups
    if when not in checks:
        return ()
    told = {caution for item in ready.items if item.when == when for caution in item.cautions}
    setup = setups[checks[when].setup]
    return tuple(caution for caution in setup.cautions if caution not in told)


def _item(item: Item) -> ItemReport:
    return ItemReport(
        id=item.id,
        about=item.about,
        standing=item.standing,
        says=item.says,
        does=item.does if item.does != item.says else None,
        minutes=item.minutes,
        cautions=item.cautions,
    )
