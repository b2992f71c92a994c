"""Whether what is called proven is proven, over many random stories of a planter under repair.

uv run python -m tests.bench.proof 2000 1
"""

from __future__ import annotations

import sys
import warnings

from hypothesis import HealthCheck, Phase, given, seed, settings

from diagnose.observations.case import Case
from tests.planner.worksites import MOST_FAILED, failed, held_proof, out_of_place, stories


def main(many: int, number: int) -> None:
    """Hold that many stories against the second opinion; any disagreement ends it."""
    proven = away = held = 0

    @seed(number)
    @settings(
        max_examples=many,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(stories())
    def each(case: Case) -> None:
        nonlocal proven, away, held
        if failed(case) <= MOST_FAILED:
            held += 1
            away += out_of_place(case.work)
            proven += held_proof(case)

    each()
    print(f"seed {number}: {held} stories held, {proven} proven, {away} with something exchanged")


if __name__ == "__main__":
    warnings.simplefilter("ignore")
    main(*(int(word) for word in (sys.argv[1:] + ["1000", "1"][len(sys.argv) - 1 :])))
