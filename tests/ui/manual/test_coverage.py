"""Nothing that a user meets is without its page."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import get_args

import click
import pytest

from diagnose.decision.lookahead import Goal
from diagnose.knowledge.checks import load_words
from diagnose.reports.schemas import DOCUMENTS
from diagnose.training.skills import SKILLS
from diagnose.training.worked_cases import Next
from diagnose.ui.cli.root import rowfault
from diagnose.ui.manual.onepage import SORTS
from tests.ui.manual.catalogued import CATALOGUE, KNOWLEDGE, RULES

PARTS = KNOWLEDGE.parts.values()
WANTED = {
    "check": KNOWLEDGE.checks,
    "circumstance": KNOWLEDGE.circumstances,
    "part kind": KNOWLEDGE.parts,
    "mode": [f"{kind.id}:{mode.id}" for kind in PARTS for mode in kind.modes],
    "act": [act.id for kind in PARTS for act in (*kind.measurements, *kind.remedies, *kind.swaps)],
    "set-up": KNOWLEDGE.setups,
    "rule": RULES.by_id,
    "machine": KNOWLEDGE.layouts,
    "schema": [f"json:{name}" for name in DOCUMENTS],
    "word": [*load_words(), *get_args(Next), *get_args(Goal)],
    "guide": ["tutorial", "technician", "dealer-support", "apprentice", "inference", "planning"],
}


def commands(command: click.Command, path: tuple[str, ...] = ()) -> Iterator[tuple[str, list[str]]]:
    """Every command but the root, with its options."""
    for name, below in getattr(command, "commands", {}).items():
        options = [o for p in below.params if isinstance(p, click.Option) for o in p.opts]
        yield " ".join((*path, name)), options
        yield from commands(below, (*path, name))


@pytest.mark.parametrize("sort", WANTED)
def test_everything_of_a_sort_has_a_page(sort: str) -> None:
    written = {page.id for page in CATALOGUE.of(sort)}
    assert [name for name in WANTED[sort] if name not in written] == []


@pytest.mark.parametrize(("name", "options"), [*commands(rowfault)])
def test_a_page_tells_every_option_of_its_command(name: str, options: list[str]) -> None:
    page = CATALOGUE.by_key["command", name]
    told = re.findall(r"--?[\w-]+", page.text)
    assert [option for option in options if option not in told] == []


def test_every_sort_has_pages_and_no_key_stands_twice() -> None:
    assert [sort for sort in SORTS if not CATALOGUE.of(sort)] == []
    assert len(CATALOGUE.by_key) == len(CATALOGUE.pages)


def test_words_lead_only_to_pages_that_are_there() -> None:
    known = {*CATALOGUE.by_id, *("/".join(key) for key in CATALOGUE.by_key)}
    found = {(name, see) for name, word in load_words().items() for see in word.see}
    assert {(name, see) for name, see in found if see not in known} == set()


def test_pages_that_belong_together_lead_to_each_other() -> None:
    for page in CATALOGUE.pages:
        assert [key for key in page.see if page.key not in CATALOGUE.by_key[key].see] == []


def test_nearly_every_page_has_another_beside_it() -> None:
    alone = {page.key for page in CATALOGUE.pages if not page.see}
    assert {sort for sort, _ in alone} <= {"command", "rule", "word"}


def test_the_guide_for_apprentices_tells_every_skill() -> None:
    text = CATALOGUE.by_key["guide", "apprentice"].text.casefold()
    assert [says for says in SKILLS.values() if says.partition(":")[0].casefold() not in text] == []
