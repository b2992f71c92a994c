"""Each page of the manual from its data, with the pages that the data name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import click
from pydantic import BaseModel

from diagnose.faces.manual import actpages, pages
from diagnose.faces.manual.byhand import guides
from diagnose.faces.manual.commandpages import command_page, every_command
from diagnose.faces.manual.machinepages import machine_page
from diagnose.faces.manual.onepage import Page
from diagnose.faces.manual.rulepages import rule_page
from diagnose.faces.manual.wordpages import word_page
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import Mode, PartKind, Remedy, Swap
from diagnose.knowledge.words import load_words
from diagnose.machine.graph import load_machine
from diagnose.reasoning.loading import Rules
from diagnose.reasoning.rulefile import Rule


def written(
    knowledge: Knowledge, rules: Rules, program: click.Group | None = None
) -> Iterator[Page]:
    """Every page; those of commands when there is a program. Raises `FileProblems`.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.reasoning.loading import load_rules
    >>> ", ".join(dict.fromkeys(page.sort for page in written(load_knowledge(), load_rules())))
    'guide, check, circumstance, group, part kind, mode, act, set-up, rule, machine, word'
    """
    for id, text, names in guides():
        yield Page("guide", id, text, {"id": id}, names)
    yield from _checks(knowledge)
    yield from _groups(knowledge)
    for kind in knowledge.parts.values():
        yield from _of_kind(kind)
    yield from _acts(knowledge)
    yield from _rules(knowledge, rules)
    yield from _machines(knowledge)
    for name, word in load_words().items():
        yield _page("word", name, word_page(name, word), word, word.see)
    yield from _commands(program) if program else ()


def _checks(knowledge: Knowledge) -> Iterator[Page]:
    """The pages of checks, and of the circumstances under which they are made."""
    for check in knowledge.checks.values():
        yield _page("check", check.id, pages.check_page(check), check)
    for each in knowledge.circumstances.values():
        names = {check for state in each.states for check in state.shows}
        if each.prepare and each.prepare.setup:
            names.add(each.prepare.setup)
        yield _page("circumstance", each.id, pages.circumstance_page(each), each, sorted(names))


def _groups(knowledge: Knowledge) -> Iterator[Page]:
    for group, says in pages.GROUPS.items():
        kinds = tuple(kind.id for kind in knowledge.parts.values() if kind.group == group)
        text = pages.group_page(group, knowledge)
        yield Page("group", group, text, {"id": group, "says": says}, kinds)


def _of_kind(kind: PartKind) -> Iterator[Page]:
    """The pages of a part kind and of each of its modes."""
    acts = tuple(f"act/{act.id}" for act in actpages.acts_of(kind))
    yield _page("part kind", kind.id, pages.kind_page(kind), kind, (*acts, *kind.exercised_by))
    for mode in kind.modes:
        names = (f"part kind/{kind.id}", *_acts_on(kind, mode), *mode.shows)
        yield _page("mode", f"{kind.id}:{mode.id}", pages.mode_page(kind, mode), mode, names)


def _acts_on(kind: PartKind, mode: Mode) -> Iterator[str]:
    """The acts that mend a mode, and those that tell it from others."""
    for act in actpages.acts_of(kind):
        if isinstance(act, Remedy):
            helps = mode in kind.cleared_by(act.id)
        elif isinstance(act, Swap):
            helps = mode.id in act.moves
        else:
            seen = {name for result in act.results for name in result.sees}
            helps = bool(seen & {mode.id, f"{kind.id}:{mode.id}"})
        if helps:
            yield f"act/{act.id}"


def _acts(knowledge: Knowledge) -> Iterator[Page]:
    """A page for each act; part kinds that list the same act share it."""
    ids = dict.fromkeys(act.id for k in knowledge.parts.values() for act in actpages.acts_of(k))
    for id in ids:
        listed = list(actpages.acts_called(id, knowledge))
        text = "\n\n".join(actpages.act_page(kind, act) for kind, act in listed)
        setups = dict.fromkeys(f"set-up/{act.setup}" for _, act in listed)
        yield _page("act", id, text, listed[0][1], tuple(setups))
    for setup in knowledge.setups.values():
        yield _page("set-up", setup.id, actpages.setup_page(setup), setup)


def _rules(knowledge: Knowledge, rules: Rules) -> Iterator[Page]:
    known = dict.fromkeys(knowledge.circumstances, "circumstance")
    known |= dict.fromkeys(knowledge.checks, "check")
    for rule in rules.rules:
        yield _page("rule", rule.id, rule_page(rule), rule, _named_by(rule, known))


def _machines(knowledge: Knowledge) -> Iterator[Page]:
    for layout in knowledge.layouts:
        machine = load_machine(layout, knowledge)
        kinds = tuple(dict.fromkeys(kind.id for kind in machine.parts.values()))
        data = {"id": layout, "name": machine.name, "rows": machine.rows}
        yield Page("machine", layout, machine_page(machine), data, kinds)


def _named_by(rule: Rule, known: Mapping[str, str]) -> Iterator[str]:
    """The pages whose ids stand in what a rule asks for and concludes."""
    data = rule.model_dump(mode="json", by_alias=True, include={"when", "then"})
    for text in dict.fromkeys(_strings(data)):
        yield f"{known[text]}/{text}" if text in known else text
    for text in (f"mode/{text}" for text in _strings(data) if ":" in text):
        yield text


def _strings(data: object) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    elif isinstance(data, Mapping):
        for value in data.values():
            yield from _strings(value)
    elif isinstance(data, list | tuple):
        for value in data:
            yield from _strings(value)


def _commands(program: click.Group) -> Iterator[Page]:
    for name, context in every_command(program):
        group = name.rpartition(" ")[0]
        names = (f"command/{group}",) if group else ()
        yield Page("command", name, command_page(name, context), {"id": name}, names)


def _page(sort: str, id: str, text: str, data: BaseModel, names: Iterable[str] = ()) -> Page:
    return Page(sort, id, text, data.model_dump(mode="json", by_alias=True), tuple(names))
