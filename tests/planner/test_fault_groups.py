"""Failed rows are gathered into fault groups by the cause that they share."""

from __future__ import annotations

import pytest

from diagnose.diagnosis.causes import Ranking
from diagnose.planner.fault_groups import fault_groups, last_failures
from diagnose.planner.offers import exactly, next_tests
from tests.diagnosis.situations import RESPONSE, STEADY, both_checks, failing, ranked


def rows(ranking: Ranking) -> list[tuple[int, ...]]:
    return [group.rows for group in fault_groups(ranking)]


def typed(*story: str) -> Ranking:
    return ranked("mounted-6", *STEADY, *story)


def test_a_section_failing_is_one_fault_group() -> None:
    assert rows(both_checks("mounted-12", range(7, 13), range(7, 13))) == [tuple(range(7, 13))]


def test_a_wiring_branch_across_two_sections_is_one_fault_group() -> None:
    assert rows(both_checks("mounted-12", [], range(5, 9))) == [(5, 6, 7, 8)]


def test_everything_failing_is_one_fault_group() -> None:
    assert rows(typed("response=FFFFFF", *RESPONSE)) == [(1, 2, 3, 4, 5, 6)]


def test_two_far_rows_are_two_fault_groups() -> None:
    found = rows(ranked("folding-24", *STEADY, failing("folding-24", "response", [3, 20])))
    assert sorted(found) == [(3,), (20,)]


def test_a_row_beside_a_failing_section_is_a_fault_group_of_its_own() -> None:
    found = rows(both_checks("folding-24", range(7, 13), [*range(7, 13), 20]))
    assert sorted(found) == [tuple(range(7, 13)), (20,)]


def test_the_least_settled_fault_group_comes_first() -> None:
    ranking = both_checks("folding-24", range(7, 13), [*range(7, 13), 20])
    settled = [
        max(ranking.posterior.flat[group.target.entries[0]]) for group in fault_groups(ranking)
    ]
    assert settled == sorted(settled)
    assert settled[0] < settled[1]


def test_every_failed_row_is_in_one_fault_group_and_the_target_is_among_its_rows() -> None:
    found = fault_groups(both_checks("folding-24", [7, 8, 20], [3, 7, 8, 14]))
    gathered = sorted(row for group in found for row in group.rows)
    assert gathered == [3, 7, 8, 14, 20]
    assert all(group.target.row in group.rows for group in found)


def test_a_row_that_failed_the_bleed_and_later_passed_response_stands_for_the_bleed() -> None:
    (group,) = fault_groups(typed("bleed=PPPPPF", "response=PPPPPP"))
    assert (group.rows, group.target.name) == ((6,), "bleed@6#1")


def test_a_row_that_passed_the_same_check_since_is_in_no_fault_group() -> None:
    assert fault_groups(typed("bleed=PPPPPF", "bleed=PPPPPP")) == []


def test_an_unsure_result_settles_nothing() -> None:
    (group,) = fault_groups(typed("response=PPPPPF", "response=.....?"))
    assert group.target.name == "response@6#1"


@pytest.mark.parametrize("again", ["response=.....F", "response=PPPPPF"])
def test_of_a_row_that_failed_twice_the_last_failure_counts(again: str) -> None:
    assert [seen.run for seen in last_failures(typed("response=PPPPPF", again)).values()] == [2]


def test_no_failure_is_no_fault_group() -> None:
    assert fault_groups(typed("response=PPPPPP", *RESPONSE)) == []


def test_what_is_likeliest_after_a_remedy_in_vain_is_told_of_the_same_row() -> None:
    """Two rows fail alike: the other's cause is likelier by then, but it is not this row's."""
    ranking = ranked("mounted-12", "bleed=PPFPPPPPPFPP", "response=PPFPPPPPPFPP", "oil=54C")
    first = next(one for one in next_tests(ranking) if one.candidate.kind == "remedy")
    rows = {cause.id: cause.rows for cause in ranking.causes}
    told = [one.leads_to for one in exactly(ranking, first).prospects if one.leads_to in rows]
    assert told
    assert all(first.row in rows[cause] for cause in told)


def test_the_row_that_shares_least_with_the_target_may_have_a_cause_of_its_own() -> None:
    """In a chain row 1 is fed through rows 3 and 2: row 2 has one hose more in common with it."""
    (found,) = fault_groups(both_checks("folding-16", [1, 2, 3], [1, 2, 3]))
    assert (found.target.row, found.rows) == (1, (1, 2, 3))
    assert found.besides is not None
    assert found.besides.rows == (3,)
