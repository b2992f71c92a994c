"""Whatever was done in whatever order: what is called proven is proven."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings

from diagnose.observations.case import Case
from tests.planner.worksites import MOST_FAILED, failed, held_proof, stories


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(stories())
def test_what_is_called_proven_is_proven(case: Case) -> None:
    assume(failed(case) <= MOST_FAILED)
    held_proof(case)
