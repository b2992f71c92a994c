"""What users wrote comes out as text: in HTML, in Markdown and in JSON."""

from __future__ import annotations

import json
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from markdown_it import MarkdownIt
from markdown_it.token import Token

from diagnose.reports.case import build_case_report
from diagnose.ui.html.page import report_page
from diagnose.ui.markdown import escaped, report_markdown
from diagnose.ui.streams import visible
from diagnose.ui.terminal.output import json_text
from diagnose.ui.words import sentence
from tests.reports.stories import HOSTILE, hostile
from tests.ui.html.pages import PAGES

REPORT = build_case_report(hostile())
HARMLESS = {"text", "softbreak", "hardbreak"}


def elements(page: str) -> ET.Element:
    """The page read as strictly as XML is."""
    return ET.fromstring(page.partition("\n")[2])


@pytest.mark.slow
@pytest.mark.parametrize("name", PAGES)
def test_every_page_is_well_formed_and_stands_alone(name: str) -> None:
    tree = elements(PAGES[name]())
    tags = {each.tag for each in tree.iter()}
    assert tags.isdisjoint({"script", "link", "img", "iframe", "a", "form", "object", "embed"})
    names = {name for each in tree.iter() for name in each.attrib}
    assert {each for each in names if each.startswith("on")} | (names & {"src", "href"}) == set()
    style = tree.findtext("head/style") or ""
    assert "url(" not in style
    assert "@import" not in style


def test_what_a_user_wrote_is_text_of_a_page() -> None:
    tree = elements(report_page(REPORT))
    owned = ["".join(each.itertext()) for each in tree.iter("bdi")]
    assert visible(HOSTILE) in owned
    assert sentence(f"note: {visible(HOSTILE)}") in owned


def test_marks_that_turn_text_around_are_written_out() -> None:
    page = report_page(REPORT)
    assert "\u202e" not in page
    assert "\u2066" not in page
    assert "\\u202e" in page


def test_a_form_of_words_is_not_a_template() -> None:
    assert "{{7*7}}" in report_page(REPORT)


def inline(text: str) -> list[Token]:
    """The pieces that Markdown makes of one line, links that link themselves included."""
    parser = MarkdownIt("gfm-like", {"linkify": False, "html": True}).enable(["table"])
    return [
        piece
        for token in parser.parse(text)
        if token.type != "inline"
        for piece in [token]
        if piece.type not in ("paragraph_open", "paragraph_close")
    ] + [p for token in parser.parse(text) for p in token.children or ()]


@given(st.text(min_size=1, max_size=80))
@settings(max_examples=300, deadline=None)
def test_escaped_text_is_one_paragraph_of_text(text: str) -> None:
    line = escaped(text)
    pieces = inline(line)
    assert {piece.type for piece in pieces} <= HARMLESS
    shown = "".join(piece.content for piece in pieces)
    assert shown.split() == visible(text).split()


def test_a_hostile_story_adds_no_markup_to_markdown() -> None:
    parser = MarkdownIt("gfm-like", {"linkify": False, "html": True})
    tokens = parser.parse(report_markdown(REPORT))
    kinds = {token.type for token in tokens} | {p.type for t in tokens for p in t.children or ()}
    assert kinds.isdisjoint({"html_block", "html_inline", "link_open", "image", "s_open"})
    assert "hr" not in kinds


def test_json_keeps_what_a_user_wrote_as_it_was() -> None:
    assert json.loads(json_text(REPORT))["title"] == HOSTILE


@given(st.text(max_size=60))
@settings(max_examples=300, deadline=None)
def test_visible_text_can_stand_in_xml(text: str) -> None:
    element = ET.Element("p")
    element.text = visible(text)
    assert ET.fromstring(ET.tostring(element)).text in (visible(text), visible(text) or None)
