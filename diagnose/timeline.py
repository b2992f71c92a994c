"""How the ranking of a case changed as things were told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.errors import NoAnswer
from diagnose.inference import budget
from diagnose.observations.entries import Answered, Correction, Event
from diagnose.observations.events import History, Reading, Remedied, Run, Swapped
from diagnose.observations.state import replay
from diagnose.projection import Projection
from diagnose.record import record

MOVES = (Run, Reading, Answered, Remedied, Swapped, History, Correction)
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
class Timeline:
    """The points, and the causes that led at some of them: id → in words."""

    points: tuple[Point, ...]
    causes: Mapping[str, str]


def posterior_timeline(events: Sequence[Event], now: Projection) -> Timeline:
    """The ranking after each thing that moved it, as it was then; ``now`` is after them all.

    A point holds what was told up to it, later corrections not yet reckoned in.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> run = new_event(Run.of("response", "PPPPPF"), "A")
    >>> view = Projection(replay([first, run]), load_knowledge())
    >>> [point.number for point in posterior_timeline([first, run], view).points]
    [2]
    """
    numbers = [n for n, event in enumerate(events, start=1) if isinstance(event.what, MOVES)]
    points: list[Point] = []
    says: dict[str, str] = {}
    view = Projection(replay(events[:1]), now.knowledge)
    for number in _spread(numbers):
        state = replay(events[:number])
        view = now if state.case == now.state.case else view.then(state)
        if view.state.case.runs or view.state.case.readings:
            point, names = _point(view, number)
            points.append(point)
            says |= names
    return Timeline(tuple(points), {cause: says[cause] for cause in _leading(points)})


def _spread(numbers: Sequence[int]) -> list[int]:
    """At most `MOST_POINTS` of the numbers, evenly spread, the first and the last among them.

    >>> _spread([3, 4, 9]), len(_spread(range(100))), _spread(range(100))[-1]
    ([3, 4, 9], 12, 99)
    """
    if len(numbers) <= MOST_POINTS:
        return list(numbers)
    last = len(numbers) - 1
    return [numbers[round(step * last / (MOST_POINTS - 1))] for step in range(MOST_POINTS)]


def _point(view: Projection, number: int) -> tuple[Point, Mapping[str, str]]:
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
