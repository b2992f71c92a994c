"""How the ranking of a case changed as things were told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.errors import NoAnswer
from diagnose.knowledge.base import Knowledge
from diagnose.noisyor import budget
from diagnose.record import record
from diagnose.story.event import (
    Answered,
    Checked,
    Correction,
    Event,
    Exchanged,
    History,
    Measured,
    Mended,
)
from diagnose.story.replay import replay
from diagnose.story.view import View

MOVES = (Checked, Measured, Answered, Mended, Exchanged, History, Correction)
"""What can move the ranking."""

MOST_POINTS = 12
"""Of a longer story so many points are shown, evenly spread, the last one among them."""

POINT = 100e6
"""Table entries that one point may take; the last ranking, which counts, may take more."""

MOST_CAUSES = 5
LEADING = 3
"""So many causes of a point may be among those that are shown."""


@record
class Point:
    """The ranking after one thing that was told.

    ``number`` is that of the event, from 1; ``chances`` the probability of every cause by id,
    empty when the results told so far could not stand together, or were too many.
    """

    number: int
    chances: Mapping[str, float]


@record
class Course:
    """The points, and the causes that led at some of them: id → in words."""

    points: tuple[Point, ...]
    causes: Mapping[str, str]


def course(events: Sequence[Event], knowledge: Knowledge) -> Course:
    """The ranking after each thing that moved it, as it was then.

    A point holds what was told up to it, later corrections not yet reckoned in.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.story.event import Opened, told
    >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> run = told(Checked(check="response", pattern="PPPPPF"), "A")
    >>> [point.number for point in course([first, run], load_knowledge()).points]
    [2]
    """
    numbers = [n for n, event in enumerate(events, start=1) if isinstance(event.what, MOVES)]
    points: list[Point] = []
    says: dict[str, str] = {}
    for number in _spread(numbers):
        view = View(replay(events[:number]), knowledge)
        if view.state.case.runs or view.state.case.readings:
            point, names = _point(view, number)
            points.append(point)
            says |= names
    return Course(tuple(points), {cause: says[cause] for cause in _leading(points)})


def _spread(numbers: Sequence[int]) -> list[int]:
    """At most `MOST_POINTS` of the numbers, evenly spread, the first and the last among them.

    >>> _spread([3, 4, 9]), len(_spread(range(100))), _spread(range(100))[-1]
    ([3, 4, 9], 12, 99)
    """
    if len(numbers) <= MOST_POINTS:
        return list(numbers)
    last = len(numbers) - 1
    return [numbers[round(step * last / (MOST_POINTS - 1))] for step in range(MOST_POINTS)]


def _point(view: View, number: int) -> tuple[Point, Mapping[str, str]]:
    try:
        with budget.within(POINT):
            causes = view.ranking.causes
    except NoAnswer:
        return Point(number, {}), {}
    return Point(number, {c.id: c.probability for c in causes}), {c.id: c.says for c in causes}


def _leading(points: Sequence[Point]) -> list[str]:
    """The causes that came first somewhere, the most probable anywhere first."""
    best: dict[str, float] = {}
    for point in points:
        for cause in sorted(point.chances, key=point.chances.__getitem__)[-LEADING:]:
            best[cause] = max(best.get(cause, 0.0), point.chances[cause])
    return sorted(best, key=lambda cause: -best[cause])[:MOST_CAUSES]
