"""When one cause that explains every failure is likely enough, no set of causes is named."""

from __future__ import annotations

from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.joint_explanation import joint_explanations
from tests.diagnosis.situations import both_checks, failing, ranked


def one_cause(ranking: Ranking, rows: set[int]) -> float:
    """How likely the single causes are that reach all of these rows."""
    return sum(c.probability for c in ranking.causes if rows <= {*c.rows})


def test_a_single_cause_that_is_likelier_than_not_leaves_nothing_to_name() -> None:
    """Rows 1 and 2 are the end of a chain, and the hose to row 2 is the last that both share."""
    ranking = both_checks("folding-16", [1, 2], [1, 2])
    assert 0.6 < one_cause(ranking, {1, 2}) < 0.7
    assert joint_explanations(ranking) is None


def test_single_causes_that_are_hardly_as_likely_as_not_leave_a_set_to_name() -> None:
    """The same rows fail only the response check, so that two plugs or valves do it as well."""
    ranking = ranked("folding-16", failing("folding-16", "response", [1, 2]))
    assert 0.4 < one_cause(ranking, {1, 2}) < 0.5
    found = joint_explanations(ranking)
    assert found is not None
    assert [cause.rows for cause in found.causes] == [(1,), (2,)]
