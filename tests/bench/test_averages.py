"""What was not said costs no less than the mean over what might be said, and asking bounds it.

A plan looks a few acts ahead, so a few random cases in a hundred fail by more; `averages` measures
how many, and by how much, on as many as wanted. All those tried here hold.
"""

from __future__ import annotations

import pytest

from diagnose.api import rank
from diagnose.machine.graph import load_machine
from diagnose.observations.typed import read_typed
from diagnose.planner.offers import next_tests
from tests.bench.averages import WITHIN, Unsaid, cases, weighed

QUIET = ("engine=on", "moving=no", "bleed-hose=fitted")


@pytest.mark.slow
@pytest.mark.parametrize(
    "case",
    [
        Unsaid("folding-16", ("response=FFFFFFFFFFFFFFFF",), "oil", "response"),
        Unsaid("mounted-6", ("response=FFFFFF",), "oil", "response"),
        Unsaid("mounted-6", ("response=PPPPPF",), "supply", "response"),
        Unsaid("mounted-6", ("bleed=PPPPPF", "oil=54C"), "engine", "bleed"),
        Unsaid("mounted-6", ("bleed=PFFFPP", "oil=54C", *QUIET), "supply", "bleed"),
        Unsaid("mounted-12", ("bleed=PPFFFFFFPPPP", "engine=on", "supply=60bar"), "oil", "bleed"),
        Unsaid("folding-16", ("bleed=PPPPPPPFFFFFFFFP", "supply=60bar", *QUIET), "oil", "bleed"),
    ],
)
def test_minutes_lie_between_the_mean_of_the_answers_and_asking(case: Unsaid) -> None:
    found = weighed(case)
    assert found.short <= WITHIN
    assert found.over <= WITHIN


def test_oil_that_nobody_spoke_of_is_not_warmed_for_nothing() -> None:
    """All rows failed, and cold oil is as likely as not: it takes its share of 25 minutes."""
    case = Unsaid("folding-16", ("response=FFFFFFFFFFFFFFFF",), "oil", "response")
    minutes = {word: next_tests(case.ranked(word))[0].expected for word in (None, "54C", "5C")}
    unsaid, warm, cold = minutes.values()
    assert unsaid is not None
    assert warm is not None
    assert cold is not None
    assert unsaid > min(warm, cold) * (1 - WITHIN)


@pytest.mark.parametrize(("check", "bad"), [("bleed", "supply=4bar"), ("response", "oil=35C")])
def test_a_run_known_to_be_spoiled_takes_no_longer_first_than_any_other_act(
    check: str, bad: str
) -> None:
    """Rows that pass when it is made again need nothing more, so its minutes count once."""
    machine = load_machine("folding-16")
    told = read_typed(machine, [f"{check}=PPFFFFFFFFPPPPPP", bad, "engine=on", "moving=no"])
    first, *others = next_tests(rank(machine, told))
    assert first.required
    assert first.candidate.id == f"{check}@3-10"
    assert first.expected is not None
    assert first.expected <= min(each.expected for each in others if each.expected is not None)


@pytest.mark.slow
def test_random_cases_hold() -> None:
    every = cases(24, seed=7, machines=("mounted-6",))
    assert [case for case in every if not weighed(case).holds] == []
