"""What a row depends on, by check and side."""

import pytest

from diagnose.errors import FileProblems, UnknownName
from diagnose.machine.assemble import build_machine
from diagnose.machine.graph import load_machine
from diagnose.machine.layouts import Layout

FOLDING = load_machine("folding-16")

SMALL = {
    "id": "small",
    "name": "small (invented layout)",
    "rows": 4,
    "sections": [{"id": "section-1", "rows": "1-2"}, {"id": "section-2", "rows": "3-4"}],
    "branches": [{"id": "harness-1", "rows": "1-4", "controller": "controller-1"}],
    "controllers": [{"id": "controller-1"}],
}


def places(row: int, check: str) -> set[str]:
    return {part.partition("/")[0] for part in FOLDING.ancestors(row, check)}


def test_the_bleed_check_exercises_oil_and_port_only() -> None:
    assert places(1, "bleed") == {"supply", "section-1", "port-left", "row-1"}


def test_the_response_check_exercises_both_sides_and_no_port() -> None:
    assert places(1, "response") == {
        "supply", "power", "controller-1", "section-1", "harness-1", "row-1",
    }  # fmt: skip


def test_a_hose_of_a_chain_takes_down_its_tail() -> None:
    assert FOLDING.rows_of("section-1/chain-3") == (1, 2, 3)
    assert FOLDING.rows_of("section-3/chain-15") == (15, 16)


def test_the_first_row_of_a_chain_needs_no_hose_of_it() -> None:
    assert not any("chain" in part for part in FOLDING.ancestors(5, "response"))


def test_the_sensor_reports_but_the_bleed_does_not_ask_it() -> None:
    assert "row-3/sensor" in FOLDING.ancestors(3, "response")
    assert "row-3/sensor" not in FOLDING.ancestors(3, "bleed")


def test_upstream_can_be_asked_by_side() -> None:
    assert FOLDING.upstream("row-6/valve", "electric")[-2:] == ("row-6/connector", "row-6/driver")
    assert FOLDING.upstream("supply/remote") == ()
    assert "supply/return" in FOLDING.upstream("section-2/hose", "oil")


def test_an_unknown_part_is_told_with_near_matches() -> None:
    with pytest.raises(UnknownName, match="did you mean row-6/valve"):
        FOLDING.rows_of("row-6/valv")


def test_an_unknown_machine_is_told_with_near_matches() -> None:
    with pytest.raises(UnknownName, match="did you mean mounted-12"):
        load_machine("mounted12")


def test_a_section_can_be_fed_from_another() -> None:
    sections = [SMALL["sections"][0], SMALL["sections"][1] | {"fed_from": "section-1"}]  # type: ignore[index,operator]
    machine = build_machine(Layout.model_validate(SMALL | {"sections": sections}))
    assert machine.rows_of("section-1/manifold") == (1, 2, 3, 4)
    assert machine.rows_of("section-2/manifold") == (3, 4)


def test_a_section_fed_from_a_chain_hangs_on_its_tail() -> None:
    first = {"id": "section-1", "rows": "1-2", "feed": "chain", "from": 1, "to": 2}
    second = {"id": "section-2", "rows": "3-4", "fed_from": "section-1"}
    machine = build_machine(Layout.model_validate(SMALL | {"sections": [first, second]}))
    assert machine.rows_of("section-1/chain-2") == (2, 3, 4)


def test_an_extra_part_reaches_what_it_serves() -> None:
    cooler = {"id": "supply/cooler", "kind": "filter", "needs": ["supply/hose"]}
    extra = [cooler | {"serves": ["section-2/hose"]}]
    machine = build_machine(Layout.model_validate(SMALL | {"extra": extra}))
    assert machine.rows_of("supply/cooler") == (3, 4)
    assert "supply/cooler" in machine.ancestors(3, "bleed")
    assert machine.extras == ("supply/cooler",)


def test_an_extra_part_can_serve_rows() -> None:
    extra = [{"id": "display/sensor-hub", "kind": "bus", "rows": "1,4"}]
    machine = build_machine(Layout.model_validate(SMALL | {"extra": extra}))
    assert machine.rows_of("display/sensor-hub") == (1, 4)


def test_a_layout_made_in_python_is_checked_too() -> None:
    with pytest.raises(FileProblems, match="layout small: expected each row from 1 to 5"):
        build_machine(Layout.model_validate(SMALL | {"rows": 5}))
