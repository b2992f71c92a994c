"""What an id stands for: rules, part kinds, modes, parts, acts, checks, circumstances, groups."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from diagnose.errors import Place, UnknownName
from diagnose.faces import actpages, pages
from diagnose.faces.rulepages import rule_page
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import PartKind
from diagnose.machine.graph import load_machine
from diagnose.reasoning.loading import Rules
from diagnose.record import record


@record
class Explained:
    """One thing that an id stands for: its sort, its page as Markdown, its data."""

    sort: str
    text: str
    data: dict[str, Any]


def explained(name: str, knowledge: Knowledge, rules: Rules) -> tuple[Explained, ...]:
    """Everything that the id stands for; most ids stand for one thing.

    Raises
    ------
    UnknownName: nothing answers to it; the nearest ids are offered.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.reasoning.loading import load_rules
    >>> [page.sort for page in explained("oil", load_knowledge(), load_rules())]
    ['circumstance']
    """
    found = tuple(_found(name.strip(), knowledge, rules))
    if not found:
        known, see = ids(knowledge, rules), "rowfault rules list and rowfault machine show MACHINE"
        raise UnknownName(Place("explain"), "an id of rowfault", name, known, see)
    return found


def ids(knowledge: Knowledge, rules: Rules) -> tuple[str, ...]:
    """Every id that has a page, parts of machines left out.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.reasoning.loading import load_rules
    >>> "valve:coil_open" in ids(load_knowledge(), load_rules())
    True
    """
    kinds = knowledge.parts.values()
    modes = (f"{kind.id}:{mode.id}" for kind in kinds for mode in kind.modes)
    acts = (act.id for kind in kinds for act in actpages.acts_of(kind))
    known = (
        *knowledge.checks,
        *knowledge.circumstances,
        *pages.GROUPS,
        *knowledge.parts,
        *modes,
        *rules.by_id,
        *knowledge.setups,
        *acts,
    )
    return tuple(dict.fromkeys(known))


def _found(name: str, knowledge: Knowledge, rules: Rules) -> Iterator[Explained]:
    if name in knowledge.checks:
        check = knowledge.checks[name]
        yield _explained("check", pages.check_page(check), check)
    circumstance = knowledge.circumstances.get(_circumstance_name(name))
    if circumstance:
        yield _explained("circumstance", pages.circumstance_page(circumstance), circumstance)
    if name in rules.by_id:
        yield _explained("rule", rule_page(rules.by_id[name]), rules.by_id[name])
    if name in pages.GROUPS:
        data = {"id": name, "says": pages.GROUPS[name]}
        yield Explained("group", pages.group_page(name, knowledge), data)
    if name in knowledge.setups:
        setup = knowledge.setups[name]
        yield _explained("set-up", actpages.setup_page(setup), setup)
    for kind, act in actpages.acts_called(name.partition("@")[0], knowledge):
        yield _explained("act", actpages.act_page(kind, act), act)
    yield from _part_or_mode(name, knowledge)


def _circumstance_name(cause: str) -> str:
    """The circumstance that a cause is about, or the name itself.

    >>> _circumstance_name("circumstances/oil@2"), _circumstance_name("oil")
    ('oil', 'oil')
    """
    return cause.removeprefix("circumstances/").partition("@")[0]


def _part_or_mode(name: str, knowledge: Knowledge) -> Iterator[Explained]:
    part, colon, mode_name = name.partition(":")
    kind = knowledge.parts.get(part) or _kind_of(part, knowledge)
    if kind is None:
        return
    if not colon:
        yield _explained("part kind", pages.kind_page(kind), kind)
    for mode in kind.modes:
        if colon and mode.id == mode_name.replace("-", "_"):
            yield _explained("mode", pages.mode_page(kind, mode), mode)


def _kind_of(part: str, knowledge: Knowledge) -> PartKind | None:
    """The kind of a part that some machine has."""
    if "/" not in part:
        return None
    for layout in knowledge.layouts:
        machine = load_machine(layout, knowledge)
        if part in machine.parts:
            return machine.parts[part]
    return None


def _explained(sort: str, text: str, data: BaseModel) -> Explained:
    return Explained(sort, text, data.model_dump(mode="json", by_alias=True))
