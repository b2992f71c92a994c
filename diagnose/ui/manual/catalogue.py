"""Every page of the manual, and which pages belong beside each.

A page is found by its sort and id; ids alone may stand for several pages, such as ``supply``.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from importlib.resources import files
from itertools import takewhile

import click
from pydantic import BaseModel, JsonValue

from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.checks import load_words
from diagnose.knowledge.parts import Mode, PartKind, Remedy, Swap
from diagnose.machine.graph import load_machine
from diagnose.reports.schemas import DOCUMENTS, schema_of
from diagnose.rules.loading import Rules
from diagnose.rules.rulefile import Rule
from diagnose.ui.manual import pages
from diagnose.ui.manual.onepage import SORTS, Key, Page
from diagnose.ui.manual.otherpages import command_page, every_command, rule_page, schema_page


class Catalogue:
    """Every page, with the pages beside each worked out; those for ``scripts`` if they are wanted.

    Raises `FileProblems` for data that is not sound.
    """

    def __init__(
        self,
        knowledge: Knowledge,
        rules: Rules,
        program: click.Group | None = None,
        *,
        scripts: bool = True,
    ) -> None:
        found = list(written(knowledge, rules, program, scripts=scripts))
        self.pages = tuple(_beside(sorted(found, key=lambda page: [*SORTS].index(page.sort))))

    @cached_property
    def by_key(self) -> Mapping[Key, Page]:
        """Every page by sort and id.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.rules.loading import load_rules
        >>> Catalogue(load_knowledge(), load_rules()).by_key["check", "bleed"].title
        'bleed check (bleed)'
        """
        return {page.key: page for page in self.pages}

    @cached_property
    def by_id(self) -> Mapping[str, tuple[Page, ...]]:
        """The pages that an id stands for.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.rules.loading import load_rules
        >>> [page.sort for page in Catalogue(load_knowledge(), load_rules()).by_id["supply"]]
        ['circumstance', 'group']
        """
        found: dict[str, list[Page]] = defaultdict(list)
        for page in self.pages:
            found[page.id].append(page)
        return {id: tuple(each) for id, each in found.items()}

    def of(self, sort: str) -> tuple[Page, ...]:
        """The pages of a sort, in the order of the data.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.rules.loading import load_rules
        >>> [page.id for page in Catalogue(load_knowledge(), load_rules()).of("check")]
        ['bleed', 'response']
        """
        return tuple(page for page in self.pages if page.sort == sort)


def _beside(found: Iterable[Page]) -> Iterator[Page]:
    """The pages, each with those that it names and those that name it."""
    found = list(found)
    named: dict[str, list[Key]] = defaultdict(list)
    for page in found:
        named[page.id].append(page.key)
        named["/".join(page.key)].append(page.key)
    see: dict[Key, dict[Key, None]] = {page.key: {} for page in found}
    for page in found:
        for key in (key for name in page.names for key in named[name] if key != page.key):
            see[page.key][key] = None
            see[key][page.key] = None
    order = {page.key: place for place, page in enumerate(found)}
    for page in found:
        yield replace(page, see=tuple(sorted(see[page.key], key=order.__getitem__)))


ORDER = ("tutorial", "technician", "dealer-support", "apprentice", "inference", "planning")
"""The guides in reading order, as their files are called."""

_CODE = re.compile(r"`([^`\n]+)`")


def guides() -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Each guide's id, its text, and what it names as code.

    >>> [id for id, *_ in guides()][0]
    'tutorial'
    """
    folder = files("diagnose.ui.manual") / "guides"
    for id in ORDER:
        text = (folder / f"{id}.md").read_text(encoding="utf-8").rstrip()
        yield id, text, tuple(dict.fromkeys(_CODE.findall(text)))


def written(
    knowledge: Knowledge,
    rules: Rules,
    program: click.Group | None = None,
    *,
    scripts: bool = True,
) -> Iterator[Page]:
    """Every page; those of commands when there is a program, those of JSON for ``scripts``.

    Raises `FileProblems`.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.rules.loading import load_rules
    >>> ", ".join(dict.fromkeys(page.sort for page in written(load_knowledge(), load_rules())))
    'guide, check, circumstance, group, part kind, mode, act, set-up, rule, machine, schema, word'
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
    yield from _schemas() if scripts else ()
    for name, word in load_words().items():
        yield _page("word", name, pages.word_page(name, word), word, word.see)
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
    for group, says in pages.PAGE_GROUPS.items():
        kinds = tuple(kind.id for kind in knowledge.parts.values() if kind.group == group)
        text = pages.group_page(group, knowledge)
        yield Page("group", group, text, {"id": group, "says": says}, kinds)


def _of_kind(kind: PartKind) -> Iterator[Page]:
    """The pages of a part kind and of each of its modes."""
    acts = tuple(f"act/{act.id}" for act in pages.acts_of(kind))
    yield _page("part kind", kind.id, pages.kind_page(kind), kind, (*acts, *kind.exercised_by))
    for mode in kind.modes:
        names = (f"part kind/{kind.id}", *_acts_on(kind, mode), *mode.shows)
        yield _page("mode", f"{kind.id}:{mode.id}", pages.mode_page(kind, mode), mode, names)


def _acts_on(kind: PartKind, mode: Mode) -> Iterator[str]:
    """The acts that mend a mode, and those that tell it from others."""
    for act in pages.acts_of(kind):
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
    ids = dict.fromkeys(act.id for k in knowledge.parts.values() for act in pages.acts_of(k))
    for id in ids:
        listed = list(pages.acts_called(id, knowledge))
        text = "\n\n".join(pages.act_page(kind, act) for kind, act in listed)
        setups = dict.fromkeys(f"set-up/{act.setup}" for _, act in listed)
        yield _page("act", id, text, listed[0][1], tuple(setups))
    for setup in knowledge.setups.values():
        yield _page("set-up", setup.id, pages.setup_page(setup), setup)


def _rules(knowledge: Knowledge, rules: Rules) -> Iterator[Page]:
    known = dict.fromkeys(knowledge.circumstances, "circumstance")
    known |= dict.fromkeys(knowledge.checks, "check")
    for rule in rules.rules:
        yield _page("rule", rule.id, rule_page(rule), rule, _named_by(rule, known))


def _machines(knowledge: Knowledge) -> Iterator[Page]:
    for layout in knowledge.layouts:
        machine = load_machine(layout, knowledge)
        kinds = tuple(dict.fromkeys(kind.id for kind in machine.parts.values()))
        data: dict[str, JsonValue] = {"id": layout, "name": machine.name, "rows": machine.rows}
        yield Page("machine", layout, pages.machine_page(machine), data, kinds)


def _schemas() -> Iterator[Page]:
    # What writes JSON Schema is slow to import, and few pages want it.

    for name, document in DOCUMENTS.items():
        words = takewhile(str.islower, document.printed_by.split())
        command = f"command/{' '.join(word for word in words if not word.startswith('-'))}"
        yield Page(
            "schema",
            f"json:{name}",
            schema_page(name),
            schema_of(name),
            ("command/schema", command),
        )


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
