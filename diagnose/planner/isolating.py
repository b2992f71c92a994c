"""A minimal isolating retest: the cheapest tests, all decided now, that tell the causes apart.

Tests are noisy, so two causes count as told apart by a test when whoever knew which of the two it
is from the outcome alone, and both were as likely, would be wrong no more than `MISTAKEN` of the
time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray

from diagnose.arrays import Floats
from diagnose.decision.cover import Cover, ambiguity_groups, cheapest_cover
from diagnose.decision.problem import ANY, DecisionProblem
from diagnose.planner.candidates import Candidate
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.value import SEVERAL
from diagnose.record import record
from diagnose.tolerances import ISOLATED_ABOVE, MINUTES_ALIKE, MISTAKEN


@record
class Inseparable:
    """Causes that no available test tells apart, and whether one remedy does for all."""

    causes: tuple[str, ...]
    same_remedy: bool


@record
class Isolating:
    """The tests, what they cost together, and the causes in groups that they tell apart.

    ``optimal`` is whether no cheaper set does as much; else the minutes are at most ``guarantee``
    times those of the cheapest.
    """

    acts: tuple[Candidate, ...]
    minutes: float
    separates: tuple[tuple[str, ...], ...]
    optimal: bool
    guarantee: float
    inseparable: tuple[Inseparable, ...]


def isolating(problem: TroubleshootingProblem, least: float = ISOLATED_ABOVE) -> Isolating:
    """The cheapest set of tests after which the causes above ``least`` are told apart.

    "Several causes together" is no single cause and is left aside.

    Whatever a shorted sensor shows an open one shows too, and both are replaced.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = isolating(plan(load_machine("mounted-6"), told).problem)
    >>> alike = [one for one in found.inseparable if "row-6/sensor:open" in one.causes]
    >>> [(sorted(one.causes), one.same_remedy) for one in alike]
    [(['row-6/sensor:open', 'row-6/sensor:shorted'], True)]
    """
    names, leading = _leading(problem, least)
    parts = _parts(problem, leading)
    pairs = list(combinations(range(len(leading)), 2))
    columns = np.array([[part[a, b] for a, b in pairs] for part in parts], dtype=bool)
    separates = columns.reshape(len(parts), len(pairs))
    cover = _cheapest(problem, separates)
    chosen = list(cover.tests)
    return Isolating(
        acts=tuple(problem.tests[test][0] for test in chosen),
        minutes=cover.minutes,
        separates=_groups(separates[chosen], names),
        optimal=cover.optimal,
        guarantee=cover.guarantee,
        inseparable=tuple(
            Inseparable(group, _same_remedy(problem, group))
            for group in _groups(separates, names)
            if len(group) > 1
        ),
    )


def _cheapest(problem: TroubleshootingProblem, separates: NDArray[np.bool_]) -> Cover:
    """The cheapest of the cheapest covers for every choice of set-ups to go through.

    Once these are chosen, the quickest way through them costs the same whatever is done there.
    """
    minutes = np.array([test.minutes for test in problem.finite.tests])
    setups = np.array([test.setup for test in problem.finite.tests])
    found, least = [], np.inf
    for some in _subsets(sorted(set(setups.tolist()) - {ANY})):
        able = np.flatnonzero(np.isin(setups, [ANY, *some]))
        if np.array_equal(separates[able].any(axis=0), separates.any(axis=0)):
            cover = cheapest_cover(separates[able], minutes[able].tolist())
            way = _way(problem, some)
            found.append((cover.minutes + way, tuple(able[list(cover.tests)].tolist())))
            least = min(least, cover.minutes / cover.guarantee + way)
    cheapest, tests = min(found, key=lambda one: one[0])
    optimal = cheapest <= least * (1 + MINUTES_ALIKE)
    return Cover(tests, cheapest, optimal, 1.0 if optimal else cheapest / least)


def _subsets(setups: Sequence[int]) -> Iterator[tuple[int, ...]]:
    for size in range(len(setups) + 1):
        yield from combinations(setups, size)


def _way(problem: TroubleshootingProblem, setups: Sequence[int]) -> float:
    """Minutes of the quickest way from the present set-up through some others."""
    finite = problem.finite
    return min(sum(_steps(finite, problem.setup, way)) for way in permutations(setups))


def _steps(finite: DecisionProblem, here: int, way: Sequence[int]) -> Iterator[float]:
    """Minutes of each change on a way through set-ups."""
    for wanted in way:
        there = wanted if finite.landing is None else int(finite.landing[here, wanted])
        yield float(finite.changes[here, there])
        here = there


def _leading(problem: TroubleshootingProblem, least: float) -> tuple[list[str], list[int]]:
    """Names of the leading causes, and which hypotheses of the problem they are."""
    prior = problem.finite.prior
    names = [problem.information.names[blame] for blame in problem.kept.tolist()]
    leading = [h for h in np.argsort(-prior).tolist() if prior[h] >= least and names[h] != SEVERAL]
    return [names[h] for h in leading], leading


def _parts(problem: TroubleshootingProblem, leading: Sequence[int]) -> list[NDArray[np.bool_]]:
    """Per test (causes, causes) which of the causes it tells apart."""
    return [mistaken(test.likelihood[leading]) <= MISTAKEN for test in problem.finite.tests]


def mistaken(likelihood: Floats) -> Floats:
    """(H, H) chance of mixing up two equally likely hypotheses by the outcome of a test.

    >>> mistaken(np.array([[1.0, 0.0], [0.1, 0.9]])).round(3).tolist()
    [[0.5, 0.05], [0.05, 0.5]]
    """
    lesser = np.minimum(likelihood[:, None, :], likelihood[None, :, :]).sum(axis=2)
    wrong: Floats = lesser / 2
    return wrong


def _groups(separates: NDArray[np.bool_], names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    return tuple(
        tuple(names[h] for h in group) for group in ambiguity_groups(separates, len(names))
    )


def _same_remedy(problem: TroubleshootingProblem, group: Sequence[str]) -> bool:
    """Whether the same thing is done about every cause of a group."""
    wanted = set()
    for name in group:
        blame = problem.information.names.index(name)
        wanted.add(
            next(
                (place for place, repair in enumerate(problem.repairs) if repair.fixes[blame]), ANY
            )
        )
    return len(wanted) == 1
