"""The drawing shows every row once and every part that is suspected, with its chance in words."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from diagnose.knowledge.base import load_knowledge
from diagnose.machine.assemble import build_machine
from diagnose.machine.graph import Machine, load_machine
from diagnose.machine.layouts import Layout
from diagnose.reports.layout import layout_of
from diagnose.ui.svg.machine import (
    COLUMN,
    EDGE,
    MOST_BAND_COLUMNS,
    PICTURE_WIDTH,
    Shown,
    bands,
    draw_band,
    draw_supply,
)

MACHINES = sorted(load_knowledge().layouts)
PHONE = 360 - 2 * 14


def drawn(machine: Machine, suspicion: dict[str, float]) -> list[ET.Element]:
    """The pictures of a machine with some parts suspected."""
    layout = layout_of(machine)
    shown = Shown(layout, dict.fromkeys(range(1, machine.rows + 1), "pass"), suspicion)
    cut = enumerate(bands(layout.sections))
    pictures = [draw_band(f"b{number}", band, shown) for number, band in cut]
    supply = draw_supply("s", layout, suspicion)
    return [ET.fromstring(each.markup()) for each in (supply, *pictures)]


def texts(pictures: list[ET.Element], kind: str = "") -> list[str]:
    """The texts of pictures, of one class if it is said."""
    found = [text for picture in pictures for text in picture.iter("text")]
    return [text.text or "" for text in found if not kind or text.get("class") == kind]


@pytest.mark.parametrize("name", MACHINES)
def test_every_row_is_drawn_once_in_order(name: str) -> None:
    machine = load_machine(name)
    numbers = texts(drawn(machine, {}), "number")
    assert numbers == [str(row) for row in range(1, machine.rows + 1)]


@pytest.mark.slow
@pytest.mark.parametrize("name", MACHINES)
def test_every_part_that_is_suspected_is_labelled_with_its_chance(name: str) -> None:
    machine = load_machine(name)
    missing = [
        part
        for part in machine.parts
        if not any("42 %" in text for text in texts(drawn(machine, {part: 0.42})))
    ]
    assert missing == []


@pytest.mark.slow
@pytest.mark.parametrize("name", MACHINES)
def test_every_part_that_is_suspected_is_shaded(name: str) -> None:
    machine = load_machine(name)

    def shaded(suspicion: dict[str, float]) -> str:
        return "".join(ET.tostring(each, encoding="unicode") for each in drawn(machine, suspicion))

    opacity = re.compile(r'(?:fill|stroke)-opacity="0\.\d+"')
    assert not opacity.search(shaded({}))
    assert [part for part in machine.parts if not opacity.search(shaded({part: 0.42}))] == []


def test_a_darker_shade_is_more_probable() -> None:
    machine = load_machine("mounted-6")

    def shade(chance: float) -> float:
        text = ET.tostring(drawn(machine, {"row-6/sensor": chance})[1], encoding="unicode")
        return max(map(float, re.findall(r'fill-opacity="([0-9.]+)"', text)))

    shades = [shade(chance) for chance in (0.0, 0.1, 0.5, 0.9)]
    assert shades == sorted(shades)
    assert len(set(shades)) == 4


@pytest.mark.parametrize("name", MACHINES)
def test_every_picture_fits_a_phone_at_full_size(name: str) -> None:
    pictures = drawn(load_machine(name), {})
    assert max(float(each.get("width", "0")) for each in pictures) <= PHONE
    assert COLUMN * MOST_BAND_COLUMNS + 2 * EDGE <= PICTURE_WIDTH == PHONE


@pytest.mark.parametrize("name", MACHINES)
def test_every_picture_has_a_title_and_says_what_it_shows(name: str) -> None:
    for picture in drawn(load_machine(name), {"row-2/valve": 0.3}):
        title, desc = picture.find("title"), picture.find("desc")
        assert title is not None
        assert desc is not None
        assert title.text
        assert "Suspected: " in (desc.text or "")
        assert picture.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"


def test_a_failed_row_has_its_large_mark_and_no_other_row_has_one() -> None:
    machine = load_machine("mounted-6")
    layout = layout_of(machine)
    marks = {row: "fail" if row == 4 else "pass" for row in range(1, 7)}
    band = bands(layout.sections)[0]
    picture = ET.fromstring(draw_band("b", band, Shown(layout, marks, {})).markup())
    boxes = [each for each in picture.iter("rect") if each.get("class") == "fail-box"]
    assert len(boxes) == 1
    assert float(boxes[0].get("x", "0")) + 14 == band.x(4)
    assert "row 4 fail" in str(ET.tostring(picture))


def own_layout(rows: int, **more: Any) -> Machine:
    """A layout of one's own with one long section."""
    section = {"id": "section-1", "rows": f"1-{rows}", **more.pop("section", {})}
    branch = {"id": "harness-1", "rows": f"1-{rows}", "controller": "controller-1"}
    return build_machine(
        Layout.model_validate(
            {
                "id": "mine",
                "name": "mine",
                "rows": rows,
                "sections": [section],
                "branches": [branch],
                "controllers": [{"id": "controller-1"}],
                **more,
            }
        )
    )


@pytest.mark.parametrize(
    "section",
    [{}, {"feed": "chain", "from": 1, "to": 13}, {"feed": "chain", "from": 13, "to": 1}],
)
def test_a_section_that_is_too_long_goes_on_in_further_bands(section: dict[str, Any]) -> None:
    machine = own_layout(13, section=section)
    assert [len(band.rows) for band in bands(layout_of(machine).sections)] == [4, 4, 5]
    for part in machine.parts:
        labelled = [text for text in texts(drawn(machine, {part: 0.42})) if "42 %" in text]
        assert labelled, part


def test_parts_that_a_layout_adds_are_drawn() -> None:
    cooler = {"id": "supply/cooler", "kind": "filter", "serves": ["section-1/hose"]}
    pictures = drawn(own_layout(6, extra=[cooler]), {"supply/cooler": 0.42})
    assert "supply/cooler" in texts(pictures)
    assert "42 %" in texts(pictures)


def test_a_single_row_is_drawn() -> None:
    assert texts(drawn(own_layout(1), {}), "number") == ["1"]
