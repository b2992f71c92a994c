"""Of many rows, the example of a run in which some fail is of the likeliest kind."""

from __future__ import annotations

import pytest

from diagnose.diagnosis.causes import Ranking
from diagnose.planner import contingent_plan as somefail
from diagnose.planner.candidates import Candidate, Outcome, rerun
from tests.diagnosis.situations import ranked

ROWS = tuple(range(1, 13))


@pytest.mark.parametrize(("fails", "most_likely"), [(0.05, 1), (0.25, 3), (0.5, 6), (0.75, 9)])
def test_of_rows_that_fail_each_by_itself_as_many_fail_as_is_likeliest(
    monkeypatch: pytest.MonkeyPatch, fails: float, most_likely: int
) -> None:
    """Of 12 rows, so many fail as are the mode of the binomial distribution.

    A single pattern of 1 row is likelier than one of 3 at 0.25, but there are 220 of 3 and 12
    of 1.
    """

    def supposed(_: Ranking, __: Candidate, outcome: Outcome) -> int:
        return sum(outcome.event.values())

    def alone(_: Ranking, failing: int) -> float:
        return fails**failing * (1 - fails) ** (len(ROWS) - failing)

    monkeypatch.setattr(somefail, "what_if", supposed)
    monkeypatch.setattr(somefail, "chance", alone)
    found = ranked("mounted-12", "response=PPPPPFPPPPPP")
    act = rerun(found.evidence, "response", ROWS, (6,))
    given = somefail.representative_outcome(found, act)
    assert given is not None
    assert given[1] == most_likely


def test_rows_of_one_branch_fail_together_where_the_branch_is_to_blame() -> None:
    """All rows of harness-2 failed and no other: so they do again, not rows here and there."""
    good = ("oil=54C", "engine=on", "moving=no", "supply=180bar", "bleed-hose=stowed")
    found = ranked("mounted-12", *good, "response=PPPPFFFFPPPP")
    act = rerun(found.evidence, "response", ROWS, (5,))
    given = somefail.representative_outcome(found, act)
    assert given is not None
    assert given[0].result == "some fail, say only rows 5–8"
