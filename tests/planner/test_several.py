"""Several causes together: what is over by now asks for nothing, and no sound part is replaced."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from diagnose.diagnosis.causes import Ranking
from diagnose.inference.explanation import UNSEEN
from diagnose.inference.posterior import log_evidence
from diagnose.planner.decide import best_choice
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.value import SEVERAL
from diagnose.tolerances import UNLIKELY_PART
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, ranked

REMOTE_SET = (
    "bleed=FPFFPFPPPFPFFFFFFFFFFFFF", "response=FFFFFFFFFPFPFFPFFFPFFFFP", "supply=181bar",
    "return-pressure@supply=5.4bar", "look-indicator@supply/filter=no", "valve-code@row-1=none",
    "set-flow@supply/remote=done", "response=PPPPPPPPPPPPPPPPPPPPPPPP", *STEADY, "supply=180bar",
    "bleed-hose=stowed",
)  # fmt: skip
"""A remote that gave too little, and a bleed that nobody has run since it was set."""

STORIES = {
    "a remote was set": ("folding-24", REMOTE_SET),
    "nothing stated": ("mounted-6", ("bleed=FFFFFF", "response=FFFFFF")),
    "a coil was replaced": (
        "mounted-6",
        (*STEADY, "bleed=PPPPPF", *BLEED, "response=PPPPPF", *RESPONSE, "replace-coil@row-6=done"),
    ),
    "plugs were crossed": (
        "mounted-6",
        ("response=PPPPPF", "cross-plugs@row-6=row-5", "response=....FP", *RESPONSE),
    ),
}


@cache
def told(story: str) -> Ranking:
    machine, typed = STORIES[story]
    return ranked(machine, *typed)


def problems(ranking: Ranking) -> list[TroubleshootingProblem]:
    return [TroubleshootingProblem(ranking, group) for group in fault_groups(ranking)]


@pytest.mark.parametrize("story", STORIES)
def test_what_is_over_is_what_nothing_is_left_of(story: str) -> None:
    """Inferring again without any state that is left of the target's causes gives the same sum."""
    ranking = told(story)
    evidence = ranking.evidence
    for problem in problems(ranking):
        cured = {each.state for each in evidence.epochs.cleared}
        end = evidence.epochs.offsets[-1]
        left = [s for s in problem.group.target.entries[0].tolist() if s < end and s not in cured]
        network, prior = evidence.network, evidence.network.prior.copy()
        prior[left] = 0.0
        without = log_evidence(replace(network, prior=prior))
        chance = float(np.exp(without - ranking.posterior.log_evidence))
        assert problem.passes_again == pytest.approx(chance, abs=1e-3)


def test_the_check_is_run_again_where_all_causes_may_be_over() -> None:
    problem = problems(told("a remote was set"))[0]
    choice = best_choice(problem)
    assert choice.candidate is not None
    assert (choice.candidate.kind, choice.candidate.check) == ("rerun", "bleed")
    names = np.array(problem.information.names)
    left, gone = problem.information.blame[names == SEVERAL]
    assert gone > 10 * left


@pytest.mark.parametrize("story", STORIES)
def test_no_part_that_is_hardly_at_fault_is_replaced_while_something_tells(story: str) -> None:
    ranking = told(story)
    for problem in problems(ranking):
        for offer in best_choice(problem).offers:
            if offer.candidate.price != "none":
                mine = [each for each in ranking.causes if each.part == offer.candidate.part]
                likely = sum(each.probability for each in mine)
                assert likely >= UNLIKELY_PART or story == "plugs were crossed"


@pytest.mark.parametrize("work", [(), ("replace-coil@row-6=done",)])
def test_what_is_believed_given_each_blame_adds_up_to_what_is_believed(
    work: tuple[str, ...],
) -> None:
    """Of every state: whether one cause is to blame, another one, chance, or several together."""
    ranking = ranked("mounted-6", *STEADY, "response=PPPPPF", *RESPONSE, *work)
    beliefs = TroubleshootingProblem(ranking, fault_groups(ranking)[0]).information.beliefs
    blame, offsets = beliefs.blame / beliefs.blame.sum(), ranking.evidence.offsets
    single = np.zeros_like(beliefs.idle)
    single[beliefs.blamed] = blame[1:-2]
    sizes = np.diff(offsets)
    own = np.repeat(np.add.reduceat(single, offsets[:-1]), sizes)
    idle = (blame[:-2].sum() - own) * beliefs.idle
    total = single + idle + blame[-2:] @ beliefs.together
    assert (blame[-1] > 0) == bool(work)
    assert total == pytest.approx(ranking.posterior.flat, abs=UNSEEN)
