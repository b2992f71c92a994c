"""Everything that has an id has a page that answers the same questions in the same order."""

from __future__ import annotations

import re

import pytest

from diagnose.errors import UnknownName
from diagnose.ui.cli.explain import contents
from diagnose.ui.manual.lookup import looked_up, pages_about, searched
from diagnose.ui.manual.onepage import Page
from tests.ui.manual.catalogued import CATALOGUE, KNOWLEDGE, RULES

RULE = [
    "What it says",
    "When",
    "Then it finds",
    "Why",
    "When it is wrong",
    "Source",
    "An example",
    "A near miss",
]
GUIDES = [page.id for page in CATALOGUE.of("guide")]
KIND = ["What it is", "What it takes with it", "How it fails", "What is done about it"]
MODE = ["What happens", "How likely", "What shows it", "What is done about it"]
CHECK = ["What it is", "Take care", "What it needs", "How it is made", "What it costs"]
STATE = ["What it is", "How it is told", "Its states"]


def headings(name: str) -> list[str]:
    text = "\n".join(each.text for each in pages_about(name, CATALOGUE, KNOWLEDGE))
    return re.findall(r"^## (.*)$", text, re.MULTILINE)


def missing(wanted: list[str], name: str) -> list[str]:
    return [heading for heading in wanted if heading not in headings(name)]


@pytest.mark.parametrize("name", RULES.by_id)
def test_a_rule_page_answers_every_question(name: str) -> None:
    assert missing(RULE, name) == []


@pytest.mark.parametrize("name", KNOWLEDGE.parts)
def test_a_part_kind_page_answers_every_question(name: str) -> None:
    assert missing(KIND, name) == []


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("valve:coil_open", MODE),
        ("row-6/valve:coil_open", MODE),
        ("row-6/valve:coil-open", MODE),
        ("section-2/hose", KIND),
        ("port-left/port", KIND),
        ("bleed", CHECK),
        ("oil", STATE),
        ("circumstances/oil@2", STATE),
    ],
)
def test_ids_lead_to_their_page(name: str, wanted: list[str]) -> None:
    assert missing(wanted, name) == []


def test_an_id_with_two_meanings_has_both_pages() -> None:
    sorts = [each.sort for each in pages_about("supply", CATALOGUE, KNOWLEDGE)]
    assert sorts == ["circumstance", "group"]


@pytest.mark.parametrize("name", [name for name in CATALOGUE.by_id if name not in GUIDES])
def test_every_id_has_a_page_with_its_name_on_top(name: str) -> None:
    shown = name.removeprefix("json:")
    assert all(shown in page.title for page in pages_about(name, CATALOGUE, KNOWLEDGE))


@pytest.mark.slow
@pytest.mark.parametrize("page", CATALOGUE.pages, ids=lambda page: "/".join(page.key))
def test_a_page_is_found_by_its_title_and_by_the_words_of_it(page: Page) -> None:
    assert page in pages_about(page.title, CATALOGUE, KNOWLEDGE)
    assert page in searched(f"{page.title} {page.id}", CATALOGUE)


@pytest.mark.parametrize(
    ("words", "best"),
    [
        ("winding broken", "valve:coil_open"),
        ("COIL open", "coil-reads-open"),
        ("lint", "manifold"),
        ("mice", "rodents"),
    ],
)
def test_words_lead_to_pages_that_speak_of_them(words: str, best: str) -> None:
    assert best in [page.id for page in searched(words, CATALOGUE)]


def test_words_that_stand_nowhere_lead_nowhere() -> None:
    assert searched("tractorbeam", CATALOGUE) == ()
    assert searched("?!", CATALOGUE) == ()


@pytest.mark.parametrize("name", KNOWLEDGE.parts)
def test_every_caution_of_a_remedy_stands_on_the_page(name: str) -> None:
    page = CATALOGUE.by_key["part kind", name]
    cautions = [each.caution for each in KNOWLEDGE.parts[name].remedies if each.caution]
    assert [each for each in cautions if each not in page.text] == []


def test_an_unknown_id_gets_near_matches() -> None:
    with pytest.raises(UnknownName, match="did you mean valve:coil_open"):
        looked_up("valve:coil_opn", CATALOGUE, KNOWLEDGE)


def test_the_contents_name_every_page_but_rules_that_have_a_list_of_their_own() -> None:
    text = contents(CATALOGUE)
    missing = {page.sort for page in CATALOGUE.pages if f"`{page.id}`" not in text}
    assert missing == {"rule"}
