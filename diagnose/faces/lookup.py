"""What an id stands for: rules, part kinds, modes, parts, checks, circumstances, groups."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from diagnose.errors import Place, UnknownName
from diagnose.faces import pages
from diagnose.faces.rulepages import rule_page
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import PartKind

if TYPE_CHECKING:
    from pydantic import BaseModel

    from diagnose.reasoning.loading import Rules


@dataclass(frozen=True)
class Explained:
    """One thing that an id stands for: its sort, its page as Markdown, its data."""

    sort: str
    text: str
    data: dict[str, Any]


def explain_id(id: str, knowledge: Knowledge, rules: Rules) -> tuple[Explained, ...]:
    """Everything that the id stands for; most ids stand for one thing.

    Raises
    ------
    UnknownName: nothing answers to it; the nearest ids are offered.
    """
    found = tuple(_found(id.strip(), knowledge, rules))
    if not found:
        raise UnknownName(Place("explain"), "an id of rowfault", id, ids(knowledge, rules))
    return found


def ids(knowledge: Knowledge, rules: Rules) -> tuple[str, ...]:
    """Every id that has a page, parts of machines left out."""
    kinds = knowledge.parts.values()
    modes = (f"{kind.id}:{mode.id}" for kind in kinds for mode in kind.modes)
    known = (
        *knowledge.checks,
        *knowledge.circumstances,
        *pages.GROUPS,
        *knowledge.parts,
        *modes,
        *rules.by_id,
    )
    return tuple(dict.fromkeys(known))


def _found(id: str, knowledge: Knowledge, rules: Rules) -> Iterator[Explained]:
    if id in knowledge.checks:
        check = knowledge.checks[id]
        yield _explained("check", pages.check_page(check), check)
    name = id.removeprefix("circumstances/").partition("#")[0]
    if name in knowledge.circumstances:
        circumstance = knowledge.circumstances[name]
        yield _explained("circumstance", pages.circumstance_page(circumstance), circumstance)
    if id in rules.by_id:
        yield _explained("rule", rule_page(rules.by_id[id]), rules.by_id[id])
    if id in pages.GROUPS:
        yield Explained(
            "group", pages.group_page(id, knowledge), {"id": id, "says": pages.GROUPS[id]}
        )
    yield from _part_or_mode(id, knowledge)


def _part_or_mode(id: str, knowledge: Knowledge) -> Iterator[Explained]:
    part, colon, name = id.partition(":")
    kind = knowledge.parts.get(part) or _kind_of(part, knowledge)
    if kind is None:
        return
    if not colon:
        yield _explained("part kind", pages.kind_page(kind), kind)
    for mode in kind.modes:
        if colon and mode.id == name.replace("-", "_"):
            yield _explained("mode", pages.mode_page(kind, mode), mode)


def _kind_of(part: str, knowledge: Knowledge) -> PartKind | None:
    """The kind of a part that some machine has."""
    if "/" not in part:
        return None
    from diagnose.machine.graph import load_machine

    for layout in knowledge.layouts:
        machine = load_machine(layout, knowledge)
        if part in machine.parts:
            return machine.parts[part]
    return None


def _explained(sort: str, text: str, data: BaseModel) -> Explained:
    return Explained(sort, text, data.model_dump(mode="json", by_alias=True))
