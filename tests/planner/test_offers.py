"""What is offered: with what it is worth, what it may show, and what earns nothing last."""

from __future__ import annotations

from types import SimpleNamespace
from typing import cast

import pytest

from diagnose.planner.candidates import Candidate
from diagnose.planner.decide import Offer, _worthwhile_first
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.offers import MENDED, proposals
from diagnose.planner.problem import TroubleshootingProblem
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, ranked

NOTHING_TO_TEST = cast(TroubleshootingProblem, SimpleNamespace(tests=()))


def offer(id: str, minutes: float, value: float) -> Offer:
    return Offer(Candidate(id, "remedy", "", (6,), minutes, ()), minutes, value)


def test_a_remedy_that_earns_nothing_back_stands_last() -> None:
    """Of its 20 minutes all are lost against the best, of 10 half: the second earns something."""
    best, lost, some = offer("a", 5, 60), offer("b", 20, 80), offer("c", 10, 85 - 20)
    assert _worthwhile_first(NOTHING_TO_TEST, (best, lost, some)) == (best, some, lost)


def row_6() -> TroubleshootingProblem:
    found = ranked("mounted-6", *STEADY, "bleed=PPPPPP", *BLEED, "response=PPPPPF", *RESPONSE)
    return TroubleshootingProblem(found, fault_groups(found)[0])


def test_minutes_are_told_of_acts_that_were_weighed_in_minutes() -> None:
    problem = row_6()
    assert all(each.expected is not None for each in proposals(problem, "restore"))
    assert all(each.expected is None for each in proposals(problem, "isolate"))


def test_a_remedy_works_as_often_as_it_clears_what_is_to_blame() -> None:
    """And where it fails, what is named is likelier than before by Bayes' rule."""
    problem = row_6()
    blame = problem.information.blame / problem.information.blame.sum()
    by_id = {each.candidate.id: each.fixes for each in problem.repairs if each.candidate}
    made = [each for each in proposals(problem, "restore") if each.candidate.id in by_id]
    assert len(made) > 5
    for each in made:
        fixes = by_id[each.candidate.id]
        chances = {one.result: one for one in each.prospects}
        works, fails = chances["passes"], chances["fails again"]
        assert works.leads_to == MENDED
        assert works.probability == pytest.approx(float(fixes @ blame))
        assert works.probability + fails.probability == pytest.approx(1)
        left = {
            name: share * (1 - fixed) / fails.probability
            for name, share, fixed in zip(
                problem.information.names, blame.tolist(), fixes.tolist(), strict=True
            )
            if name != "several"
        }
        assert fails.leads_to_probability >= max(left.values()) - 1e-9
        assert left.get(fails.leads_to, fails.leads_to_probability) == pytest.approx(
            fails.leads_to_probability
        )
