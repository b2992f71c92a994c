"""What a technician would expect of a ranking; common practice, no source."""

from __future__ import annotations

import pytest

from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.diagnosis.joint_explanation import joint_explanations
from diagnose.planner.offers import next_tests
from tests.diagnosis.situations import both_checks, failing, ranked


def raised(ranking: Ranking) -> list[Cause]:
    """The causes above 2 % that the results made much likelier, most probable first."""
    return [c for c in ranking.causes if c.probability > max(3 * c.prior, 0.02)]


def test_one_row_failing_response_alone_is_that_rows_own_part() -> None:
    groups = both_checks("mounted-12", [], [6]).groups
    assert groups["row"] > 0.8
    assert max(groups[g] for g in ("supply", "section", "wiring")) < 0.01


@pytest.mark.parametrize("machine", ["mounted-12", "folding-24", "folding-48"])
def test_a_section_failing_both_checks_is_its_hose_or_manifold(machine: str) -> None:
    rows = range(7, 13) if machine != "folding-48" else range(19, 25)
    top = both_checks(machine, rows, rows).causes[0]
    assert top.part.split("/")[1] in ("hose", "manifold")
    assert top.rows == tuple(rows)


def test_a_wiring_branch_across_two_sections_failing_response_is_that_branch() -> None:
    ranking = both_checks("mounted-12", [], range(5, 9))
    assert ranking.causes[0].part == "harness-2/branch"
    assert ranking.groups["wiring"] > 0.9


@pytest.mark.parametrize(
    ("machine", "rows"), [("mounted-12", 12), ("folding-24", 24), ("folding-48", 48)]
)
def test_everything_failing_is_supply_power_or_circumstances_never_many_valves(
    machine: str, rows: int
) -> None:
    ranking = both_checks(machine, range(1, rows + 1), range(1, rows + 1))
    assert {cause.group for cause in raised(ranking)[:5]} <= {"supply", "wiring", "circumstances"}
    assert max(c.probability for c in ranking.causes if c.group == "row") < 0.05


def test_on_a_machine_of_one_section_that_section_is_as_shared_as_the_supply() -> None:
    ranking = both_checks("mounted-6", range(1, 7), range(1, 7))
    assert {cause.group for cause in raised(ranking)[:5]} == {"supply", "section"}


def test_a_section_failing_the_bleed_only_is_its_port_or_air() -> None:
    top = both_checks("folding-24", range(7, 13), []).causes[:2]
    assert {cause.part for cause in top} == {"section-2/air", "port-left-fold/port"}


def test_ends_failing_the_bleed_at_first_hook_up_is_air_and_is_bled_again() -> None:
    ranking = ranked(
        "folding-16", "first-hookup=yes", "oil=54C", failing("folding-16", "bleed", [1, 16])
    )
    top = ranking.causes[:2]
    assert {cause.id for cause in top} == {"row-1/air:trapped", "row-16/air:trapped"}
    assert all(cause.remedy and cause.remedy.parts_price == "none" for cause in top)


def test_everything_failing_in_cold_oil_is_the_oil_and_is_rerun_warm() -> None:
    ranking = ranked("mounted-12", "oil=15C", "engine=on", "response=FFFFFFFFFFFF")
    first = next_tests(ranking)[0]
    assert ranking.causes[0].id == "circumstances/oil@1"
    assert first.required
    assert first.candidate.id == "response@1-12"
    assert "fan" in first.candidate.says


def test_one_row_failing_in_cold_oil_while_others_pass_is_still_that_row() -> None:
    ranking = ranked("mounted-12", "oil=15C", "engine=on", "response=PPPPPFPPPPPP")
    assert ranking.groups["row"] > 0.5
    assert ranking.groups["circumstances"] < 0.2


def test_outer_rows_of_a_wing_failing_is_the_hose_before_the_first_of_them() -> None:
    ranking = both_checks("folding-16", [1, 2, 3], [1, 2, 3])
    assert ranking.causes[0].part == "section-1/chain-3"
    assert ranking.causes[0].probability > 0.8


def test_two_far_rows_failing_are_two_faults_and_it_says_so() -> None:
    found = joint_explanations(both_checks("folding-24", [], [3, 20]))
    assert found is not None
    assert [cause.rows for cause in found.causes] == [(3,), (20,)]
    assert "row 3 and row 20 need causes of their own" in found.says


def test_one_failed_row_needs_no_set_of_causes() -> None:
    assert joint_explanations(both_checks("folding-24", [], [3])) is None


def test_the_likeliest_set_of_causes_is_named() -> None:
    """Air in three rows is likelier than a hose that two of them share, and air in the third."""
    found = joint_explanations(
        ranked("folding-16", "first-hookup=yes", "oil=52C", "bleed=FFPPPPPPPPPPPPPF")
    )
    assert found is not None
    assert found.says.endswith(": row 1, row 2 and row 16 need causes of their own")
    assert found.probability > 0.5


def test_runs_that_failed_for_how_they_were_made_are_named_as_runs() -> None:
    found = joint_explanations(ranked("mounted-6", "oil=10C", "bleed=FFFFFF", "response=FFFFFF"))
    assert found is not None
    assert found.says.endswith(": run 1 and run 2 need causes of their own")


@pytest.mark.parametrize("stated", [True, False])
def test_the_usual_rerun_of_row_11_with_its_neighbours_is_among_the_best_reruns(
    stated: bool,
) -> None:
    """Row 11 of 12 failed: rerun 10 to 12 (common practice, no source), within 10 %."""
    ranking = (
        both_checks("mounted-12", [], [11])
        if stated
        else ranked("mounted-12", "response=PPPPPPPPPPFP")
    )
    worth = {
        p.candidate.id: p.per_minute for p in next_tests(ranking) if p.candidate.kind == "rerun"
    }
    assert worth["response@10-12"] >= 0.9 * max(worth.values())


def test_a_neighbour_tells_something_that_the_failed_row_alone_does_not() -> None:
    found = {p.candidate.id: p.bits for p in next_tests(both_checks("mounted-12", [], [11]))}
    assert found["response@10-12"] > found["response@11"]


def test_volts_that_sag_speak_for_a_bad_contact_and_full_volts_against_it() -> None:
    def bad_contact(*reading: str) -> float:
        causes = ranked("mounted-12", "response=PPPPPFPPPPPP", "oil=54C", *reading).causes
        return next(c.probability for c in causes if c.id == "row-6/connector:high_resistance")

    sags = bad_contact("voltage-under-load@row-6=10.96V")
    assert sags > 10 * bad_contact()
    assert bad_contact("voltage-under-load@row-6=11.7V") < bad_contact() / 10


def test_volts_that_are_lost_but_not_gone_speak_for_a_bad_contact_and_hardly_for_an_open_plug() -> (
    None
):
    def plug(volts: str) -> dict[str, float]:
        typed = ("response=PPPPPFPPPPPP", "oil=54C", f"voltage-under-load@row-6={volts}")
        causes = ranked("mounted-12", *typed).causes
        return {c.mode: c.probability for c in causes if c.part == "row-6/connector"}

    lost, gone = plug("8.5V"), plug("0V")
    assert lost["high_resistance"] > 10 * lost["open"]
    assert gone["open"] > 10 * gone["high_resistance"]


def test_pressure_behind_the_couplers_clears_lever_and_couplers_and_none_blames_them() -> None:
    def before_the_inlet(*reading: str) -> float:
        every = ("bleed=FFFFFF", "supply=62bar", "response=FFFFFF", "supply=180bar", "oil=54C")
        causes = ranked("mounted-6", *every, *reading).causes
        shut = ("supply/coupler:unseated", "supply/remote:not_open")
        return sum(c.probability for c in causes if c.id in shut)

    assert before_the_inlet() > 0.3
    assert before_the_inlet("inlet-pressure@supply=180bar") < 0.05
    assert before_the_inlet("inlet-pressure@supply=0bar") > 0.9


def test_a_gauge_that_reads_what_cannot_be_moves_nothing() -> None:
    typed = ("response=PPPPPFPPPPPP", "supply=150bar")
    plain = ranked("mounted-12", *typed).causes
    impossible = ranked("mounted-12", *typed, "test-port-pressure@section-1=200bar").causes
    assert [c.probability for c in impossible] == [c.probability for c in plain]
