"""The cheapest set of tests that tells causes apart, against brute force over all sets."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, cached_property
from itertools import combinations, pairwise, permutations

import numpy as np
import pytest

from diagnose.decision.problem import ANY
from diagnose.diagnosis.causes import Ranking
from diagnose.planner.candidates import Candidate
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.isolating import Isolating, isolating, mistaken
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.value import SEVERAL, Weighed
from diagnose.tolerances import ISOLATED_ABOVE, MISTAKEN
from tests.diagnosis.situations import RESPONSE, STEADY, both_checks, ranked

FEW = [
    "valve-code@row-6/valve",
    "coil-resistance@row-6/valve",
    "coil-voltage@row-6/valve",
    "sensor-code@row-6/sensor",
    "compare-gauge@row-6/sensor",
    "feel-linkage@row-6/cylinder",
    "bleed@6",
    "response@6",
    "swap-coil@row-6/valve+row-5/valve",
    "swap-sensor@row-6/sensor+row-5/sensor",
]


class FewTests(TroubleshootingProblem):
    """A problem in which few things can be done, so that all sets of them can be tried."""

    @cached_property
    def tests(self) -> tuple[tuple[Candidate, Weighed], ...]:
        return tuple(pair for pair in super().tests if pair[0].id in FEW)


def one_row() -> Ranking:
    return ranked("mounted-6", *STEADY, "first-hookup=no", "response=PPPPPF", *RESPONSE)


@cache
def problem() -> FewTests:
    return FewTests(one_row(), fault_groups(one_row())[0])


@cache
def found() -> Isolating:
    return isolating(problem())


def leading(here: TroubleshootingProblem) -> dict[str, int]:
    """Which hypothesis each cause that is to be told apart is."""
    names = [here.information.names[blame] for blame in here.kept]
    prior = here.finite.prior
    return {n: h for h, n in enumerate(names) if prior[h] >= ISOLATED_ABOVE and n != SEVERAL}


def parts(here: TroubleshootingProblem, test: int) -> set[tuple[str, str]]:
    """The pairs that a test tells apart: a guess from its outcome is seldom wrong."""
    likelihood = here.finite.tests[test].likelihood
    wrong = {
        (a, b): 0.5 * sum(min(x, y) for x, y in zip(likelihood[g], likelihood[h], strict=True))
        for (a, g), (b, h) in combinations(sorted(leading(here).items()), 2)
    }
    return {pair for pair, chance in wrong.items() if chance <= MISTAKEN}


def minutes(here: TroubleshootingProblem, chosen: Sequence[int]) -> float:
    """The work, and the quickest way round the set-ups that it wants."""
    tests = [here.finite.tests[t] for t in chosen]
    wanted = {test.setup for test in tests} - {ANY}
    ways = [(here.setup, *way) for way in permutations(wanted)]
    change = here.finite.changes
    least = min(sum(change[a, b] for a, b in pairwise(way)) for way in ways)
    return sum(test.minutes for test in tests) + float(least)


@cache
def cheapest() -> float:
    """The least minutes of any set that parts every pair that can be parted."""
    here = problem()
    parted = [parts(here, test) for test in range(len(here.tests))]
    wanted = set().union(*parted)
    every = range(len(here.tests))
    return min(
        minutes(here, some)
        for size in range(len(parted) + 1)
        for some in combinations(every, size)
        if set().union(*(parted[t] for t in some)) == wanted
    )


def chosen() -> list[int]:
    ids = [candidate.id for candidate, _ in problem().tests]
    return [ids.index(act.id) for act in found().acts]


def test_the_chosen_set_parts_every_pair_that_can_be_parted() -> None:
    every = set().union(*(parts(problem(), test) for test in range(len(problem().tests))))
    assert every
    assert set().union(*(parts(problem(), test) for test in chosen())) == every


def test_no_set_is_cheaper() -> None:
    assert found().optimal
    assert found().minutes == pytest.approx(cheapest())
    assert minutes(problem(), chosen()) == pytest.approx(cheapest())


def test_every_leading_cause_is_in_one_group() -> None:
    grouped = [name for group in found().separates for name in group]
    assert sorted(grouped) == sorted(leading(problem()))


def test_groups_are_linked_by_pairs_that_no_test_parts() -> None:
    apart = set().union(*(parts(problem(), test) for test in range(len(problem().tests))))
    for one, other in combinations(found().separates, 2):
        assert {tuple(sorted((a, b))) for a in one for b in other} <= apart


def test_inseparable_causes_are_the_groups_of_several() -> None:
    several = {frozenset(group) for group in found().separates if len(group) > 1}
    assert {frozenset(each.causes) for each in found().inseparable} == several


def test_same_remedy_is_said_where_one_remedy_does_for_all() -> None:
    remedies = {cause.id: cause.remedy for cause in one_row().causes}
    whole = isolating(TroubleshootingProblem(one_row(), fault_groups(one_row())[0]))
    said = {each.causes: each.same_remedy for each in whole.inseparable}
    assert True in said.values()
    assert False in said.values()
    for group, same in said.items():
        needed = {(name.partition(":")[0], remedies.get(name)) for name in group}
        assert (len(needed) == 1) == same, group


def test_a_hose_and_its_manifold_that_show_alike_are_told_to_be_inseparable() -> None:
    ranking = both_checks("mounted-12", range(7, 13), range(7, 13))
    found = isolating(TroubleshootingProblem(ranking, fault_groups(ranking)[0]))
    (group,) = found.inseparable
    assert set(group.causes) == {"section-2/hose:blocked", "section-2/manifold:blocked"}
    assert (found.acts, found.minutes, group.same_remedy) == ((), 0, False)


def test_mixing_up_is_half_the_overlap() -> None:
    table = np.array([[0.7, 0.2, 0.1], [0.1, 0.2, 0.7], [0.7, 0.2, 0.1]])
    assert mistaken(table)[0] == pytest.approx([0.5, 0.2, 0.5])
