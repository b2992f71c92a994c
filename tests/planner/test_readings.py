"""Readings as next tests: two routes to their outcomes, and sound partitions."""

from __future__ import annotations

import pytest

from diagnose.diagnosis.causes import Ranking
from diagnose.planner.offers import Proposal, exactly, next_tests
from diagnose.planner.value import mutual_information
from tests.diagnosis.situations import both_checks, ranked

SITUATIONS = {
    "one row": lambda: both_checks("mounted-12", [], [6]),
    "a section": lambda: both_checks("mounted-12", range(7, 13), range(7, 13)),
    "everything, nothing stated": lambda: ranked("mounted-6", "response=FFFFFF"),
}


@pytest.fixture(params=list(SITUATIONS))
def proposed(request: pytest.FixtureRequest) -> tuple[Ranking, list[Proposal]]:
    ranking = SITUATIONS[request.param]()
    return ranking, next_tests(ranking)


def test_outcomes_of_every_test_are_a_partition(
    proposed: tuple[Ranking, list[Proposal]],
) -> None:
    for proposal in proposed[1]:
        listed = sum(prospect.probability for prospect in proposal.prospects)
        assert 0.98 < listed <= 1 + 1e-6, proposal.candidate.id


def test_readings_agree_with_inferring_again(proposed: tuple[Ranking, list[Proposal]]) -> None:
    """The quick route takes causes that act together as independent: within two percent."""
    ranking, proposals = proposed
    readings = [p for p in proposals if p.candidate.ladder][:8]
    for proposal in readings:
        again = {one.result: one.probability for one in exactly(ranking, proposal).prospects}
        for prospect in proposal.prospects:
            assert prospect.probability == pytest.approx(again[prospect.result], abs=0.02)


def test_bits_are_never_negative_nor_more_than_the_blame_has(
    proposed: tuple[Ranking, list[Proposal]],
) -> None:
    assert all(0 <= proposal.bits <= 6 for proposal in proposed[1])


def test_the_mutual_information_of_independent_things_is_zero() -> None:
    import numpy as np

    assert mutual_information(np.outer([0.3, 0.7], [0.2, 0.8])) == pytest.approx(0, abs=1e-12)


def test_a_machine_without_failures_needs_no_next_test() -> None:
    assert next_tests(ranked("mounted-6", "response=PPPPPP")) == []


def test_a_reading_that_was_made_is_not_proposed_again() -> None:
    ranking = ranked("mounted-6", "response=PPFPPP", "coil-resistance@row-3=8ohm")
    ids = {proposal.candidate.id for proposal in next_tests(ranking)}
    assert "coil-resistance@row-3/valve" not in ids
