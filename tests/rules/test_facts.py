"""What is typed becomes facts that can be counted by hand."""

from __future__ import annotations

import pytest

from diagnose.rules.acts import rerun_act
from diagnose.rules.facts import groups_of
from diagnose.rules.finding import Fact
from diagnose.rules.vocabulary import complete
from diagnose.tolerances import MOST_ROWS
from tests.rules.worlds import facts, machine

EVERY_MACHINE = ("mounted-6", "mounted-12", "folding-16", "folding-24", "folding-48")


def of_kind(kind: str, name: str, typed: str) -> list[dict[str, object]]:
    return [dict(one.values) for one in facts(name, typed) if one.kind == kind]


def group(place: str, name: str, typed: str) -> dict[str, object]:
    return [one for one in of_kind("group", name, typed) if one["place"] == place][-1]


def test_a_run_is_counted():
    (run,) = of_kind("run", "mounted-12", "response=PPFF?.PPFPPP")
    counted = {"total": 11, "passed": 7, "failed": 3, "unsure": 1, "not_run": 1, "blocks": 2}
    assert run == run | counted | {"latest": "yes", "full": "no"}


def test_a_group_counts_its_rows_and_the_others():
    """Section 2 of 12 rows is rows 7 to 12."""
    section = group("section-2", "mounted-12", "response=FPPPPPPPPPFF")
    assert section["size"] == 6
    assert (section["failed"], section["passed"]) == (2, 4)
    assert (section["outside_failed"], section["outside_passed"]) == (1, 5)


def test_a_group_knows_what_its_rows_showed_in_the_other_check():
    section = group("section-2", "mounted-12", "bleed=PPPPPPPPPPPF response=PPPPPPFFFFFF")
    assert (section["other_failed"], section["other_passed"]) == (1, 5)


def test_a_branch_knows_how_many_sections_it_crosses():
    """Branch 2 of 12 rows is rows 5 to 8; the sections meet between 6 and 7."""
    assert group("harness-2", "mounted-12", "response=PPPPFFFFPPPP")["sections"] == 2
    assert group("harness-1", "mounted-12", "response=FFFFPPPPPPPP")["sections"] == 1


def test_the_bleed_sees_no_wiring_and_the_response_check_no_ports():
    bleed = {one["group"] for one in of_kind("group", "mounted-12", "bleed=FFFFFFFFFFFF")}
    response = {one["group"] for one in of_kind("group", "mounted-12", "response=FFFFFFFFFFFF")}
    assert bleed - response == {"port"}
    assert response - bleed == {"branch", "controller"}


def test_the_tail_of_a_chain_is_what_hangs_on_a_hose():
    """The left wing of 16 rows is fed from row 5 outwards to row 1."""
    tails = {
        one.place: one.rows for one in groups_of(machine("folding-16")) if one.kind == "chain-tail"
    }
    assert tails["section-1/chain-3"] == (1, 2, 3)
    assert tails["section-3/chain-14"] == (14, 15, 16)
    assert len(tails) == 8


@pytest.mark.parametrize("name", EVERY_MACHINE)
def test_every_chain_tail_is_named_for_a_part_of_the_machine(name: str):
    tails = [one for one in groups_of(machine(name)) if one.kind == "chain-tail"]
    assert all(machine(name).rows_of(tail.place) == tail.rows for tail in tails)


def test_a_failed_row_knows_its_neighbours_and_its_past():
    typed = "bleed=PPPPPP response=PPPPPF response=PPPPFF"
    row = of_kind("failed_row", "mounted-6", typed)[-1]
    expected = {"row": 6, "before": "fail", "after": "no-row", "end": "yes", "other": "pass"}
    assert row == row | expected | {"times_failed": 2, "times_passed": 0, "failed_rows": 2}


@pytest.mark.parametrize(
    ("pattern", "shared"),
    [
        ("PPFPPPPPPPFP", "nothing"),
        ("FPPFPPPPPPPP", "section-and-branch"),
        ("PPPPPFFPPPPP", "branch"),
        ("PPPFFPPPPPPP", "section"),
    ],
)
def test_a_lone_pair_knows_the_smallest_thing_it_shares(pattern: str, shared: str):
    (pair,) = of_kind("pair", "mounted-12", f"response={pattern}")
    assert pair["shared"] == shared


def test_two_rows_of_one_bleed_port_share_it_in_the_bleed_only():
    shared = [
        of_kind("pair", "mounted-12", f"{check}=PPPPFPPFPPPP")[0]["shared"]
        for check in ("bleed", "response")
    ]
    assert shared == ["bleed-port", "branch"]


def test_a_changed_row_is_told_with_the_order_of_its_results():
    (changed,) = of_kind("changed", "mounted-6", "response=PPFPPP response=PPPPPP")
    told = {"row": 3, "passed_run": 2, "failed_run": 1, "first": "fail", "alike": "yes"}
    assert changed == changed | told


def test_a_row_that_was_left_out_in_between_is_still_compared():
    (changed,) = of_kind("changed", "mounted-6", "response=PPPPPP response=F..... response=..F...")[
        1:
    ]
    assert (changed["row"], changed["passed_run"], changed["failed_run"]) == (3, 1, 3)


def test_runs_under_noted_differences_are_not_alike():
    (changed,) = of_kind("changed", "mounted-6", "response=PPFPPP oil=15C response=PPPPPP oil=54C")
    assert changed["alike"] == "no"


def test_what_nobody_noted_is_unknown_and_the_upset_is_no_question():
    asked = {one["circumstance"] for one in of_kind("unknown", "mounted-6", "bleed=PPPPPP oil=54C")}
    assert {"supply", "engine", "moving", "bleed-hose", "first-hookup"} <= asked
    assert not asked & {"oil", "upset"}


def test_a_coil_is_compared_at_the_temperature_of_the_oil():
    """8.00 ohm at 20 °C is 9.886 ohm at 80 °C."""
    (coil,) = of_kind(
        "compared", "mounted-6", "response=FPPPPP oil=80C coil-resistance@row-1=9.886ohm"
    )
    assert coil["ratio"] == pytest.approx(1.0, abs=0.001)
    assert (coil["row"], coil["response"], coil["bleed"]) == (1, "fail", "not-run")


def test_a_resistor_is_not_corrected_like_copper():
    (line,) = of_kind("compared", "mounted-6", "response=FPPPPP oil=80C bus-resistance@power=60ohm")
    assert line["ratio"] == 1.0


def test_a_gauge_is_compared_with_the_supply_only_when_that_is_known():
    assert of_kind("compared", "mounted-6", "test-port-pressure@section-1=60bar") == []
    typed = "response=FPPPPP supply=120bar test-port-pressure@section-1=60bar"
    assert of_kind("compared", "mounted-6", typed)[0]["ratio"] == 0.5


@pytest.mark.parametrize(
    ("reading", "allowed", "contact"),
    [
        ("voltage-under-load@row-6=11.6V", "yes", pytest.approx(0.07, abs=0.01)),
        ("voltage-under-load@row-6=10.96V", "no", pytest.approx(0.56, abs=0.01)),
        ("voltage-under-load@row-6=0V", "no", 0.0),
        ("supply-voltage@power=11.2V", "no", 0.0),
        ("coil-resistance@row-6=8ohm", "yes", 0.0),
    ],
)
def test_volts_are_held_against_what_may_be_lost(reading, allowed, contact):
    (volts,) = of_kind("compared", "mounted-6", reading)
    assert (volts["allowed"], volts["contact"]) == (allowed, contact)


@pytest.mark.parametrize("name", EVERY_MACHINE)
def test_every_fact_is_of_its_kind_and_holds_numbers_and_identifiers_only(name: str):
    rows = machine(name).rows
    typed = (
        f"bleed=fail:1-2,pass:rest oil=15C supply=900psi response=fail:1-{rows} engine=on "
        f"response=pass:1-{rows} washed=yes coil-resistance@row-1=8ohm look-connector@row-1=no"
    )
    made: tuple[Fact, ...] = facts(name, typed)
    assert len(made) > 30
    assert all(complete(one.kind, one.values) == one.values for one in made)


@pytest.mark.parametrize("feed", [12.0, 13.2, 14.4])
@pytest.mark.parametrize(("ohms", "allowed"), [(0.0, "yes"), (0.5, "no")])
def test_half_an_ohm_shows_whatever_the_feed_gives(feed, ohms, allowed):
    """Ohm's law: coil of 8 ohm and its wire in line with the contact, all fed by the battery."""
    volts = 11.7 * feed / 12 * 8.255 / (8.255 + ohms)
    typed = f"supply-voltage@power={feed}V voltage-under-load@row-6={volts:.3f}V"
    compared = of_kind("compared", "mounted-6", typed)[-1]
    assert (compared["measurement"], compared["allowed"]) == ("voltage-under-load", allowed)
    assert compared["contact"] == pytest.approx(ohms, abs=0.01)


def test_a_feed_that_is_low_itself_is_no_scale_for_the_rows():
    typed = "supply-voltage@power=10.5V voltage-under-load@row-6=10.3V"
    assert of_kind("compared", "mounted-6", typed)[-1]["expected"] == pytest.approx(11.7)


def test_a_rerun_of_every_other_row_of_the_widest_machine_is_a_fact():
    rows = range(2, MOST_ROWS + 1, 2)
    act = rerun_act(f"response@{','.join(map(str, rows))}", "response", len(rows))
    assert act.values["rows"] == MOST_ROWS // 2
