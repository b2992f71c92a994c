"""What the program makes of a story so far: its machine, ranking and plan; and how they changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from functools import cached_property

from diagnose.api import rank
from diagnose.decision.lookahead import Goal
from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.errors import NoAnswer
from diagnose.inference import budget
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import Price
from diagnose.machine.graph import Machine
from diagnose.observations.archive import machine_of
from diagnose.observations.entries import Answered, Correction, Event
from diagnose.observations.events import History, Reading, Remedied, Run, Swapped
from diagnose.observations.state import CaseState, replay
from diagnose.planner.contingent_plan import Plan
from diagnose.planner.problem import Means
from diagnose.record import record


@record
class Used:
    """A part that was replaced: by which remedy, where, and its price class."""

    remedy: str
    part: str
    price: Price


@record
class Projection:
    """A state of a case as it is understood; everything is worked out when first asked for.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.events import Run
    >>> from diagnose.observations.state import replay
    >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> warm = {"oil": 54.0, "engine": "on"}
    >>> run = new_event(Run.of("response", "PPPPPF", warm), "A")
    >>> view = Projection(replay([first, run]), load_knowledge())
    >>> view.ranking.causes[0].rows, view.plan().proof.holds
    ((6,), False)
    """

    state: CaseState
    knowledge: Knowledge
    ranked: Ranking | None = field(default=None, repr=False, compare=False)

    def then(self, state: CaseState) -> Projection:
        """The same case after more was told.

        Where that changes nothing of what was observed, the ranking is the one that is there.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.observations.entries import Noted, Opened, new_event
        >>> from diagnose.observations.events import Run
        >>> from diagnose.observations.state import replay
        >>> run, note = Run.of("response", "PPPPPF"), Noted("hose chafed")
        >>> whats = [Opened(case="20260301-a", machine="mounted-6"), run, note, run]
        >>> events = [new_event(what, "A") for what in whats]
        >>> view = Projection(replay(events[:2]), load_knowledge())
        >>> before = view.ranking
        >>> [view.then(replay(events[:n])).ranking is before for n in (3, 4)]
        [True, False]
        """
        same = (state.id, state.case) == (self.state.id, self.state.case)
        return Projection(state, self.knowledge, vars(self).get("ranking") if same else None)

    @cached_property
    def machine(self) -> Machine:
        """The case's machine, from the layout in the case if it has one.

        Raises `UnknownName` or `FileProblems`.
        """
        return machine_of([each.event for each in self.state.told], self.knowledge)

    @cached_property
    def ranking(self) -> Ranking:
        """The causes, given everything that counts. Raises `ImpossibleEvidence`."""
        return self.ranked or rank(self.machine, self.state.case, self.knowledge)

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The causes, most probable first; none while the case cannot be ranked.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.observations.entries import Opened, new_event
        >>> from diagnose.observations.state import replay
        >>> from diagnose.observations.events import Run
        >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> run = new_event(Run.of("response", "PPPPPF"), "A")
        >>> Projection(replay([first, run]), load_knowledge()).causes[0].rows
        (6,)
        """
        try:
            return self.ranking.causes
        except NoAnswer:
            return ()

    @property
    def means(self) -> Means:
        """What is at hand, and which acts were skipped.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.observations.entries import AtHand, Opened, new_event
        >>> from diagnose.observations.state import replay
        >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> without = new_event(AtHand(without=("gauge",), alone=True), "A")
        >>> means = Projection(replay([first, without]), load_knowledge()).means
        >>> sorted(means.without), means.alone, sorted(means.skipped)
        (['gauge'], True, [])
        """
        return Means(self.state.without, self.state.alone, self.state.skipped)

    def plan(self, goal: Goal = "restore", depth: int = 1) -> Plan:
        """What to do next. Raises `ImpossibleEvidence`."""
        return Plan(self.ranking, goal, self.means, depth)

    @cached_property
    def parts_used(self) -> tuple[Used, ...]:
        """The parts that were replaced, in order.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.observations.entries import Opened, new_event
        >>> from diagnose.observations.events import Remedied
        >>> from diagnose.observations.state import replay
        >>> first = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> mended = new_event(Remedied("replace-coil", "row-6/valve"), "A")
        >>> Projection(replay([first, mended]), load_knowledge()).parts_used
        (Used(remedy='replace-coil', part='row-6/valve', price='medium'),)
        """
        done = [work for work in self.state.case.work if isinstance(work, Remedied)]
        used = (Used(w.remedy, w.part, self._price(w)) for w in done)
        return tuple(each for each in used if each.price != "none")

    def _price(self, work: Remedied) -> Price:
        return self.machine.parts[work.part].remedy(work.remedy).parts_price


MOVES = (Run, Reading, Answered, Remedied, Swapped, History, Correction)
"""What can move the ranking."""

MOST_POINTS = 12
"""Of a longer story so many points are shown, evenly spread, the last one among them."""

POINT = 100e6
"""Table entries that one point may take; the last ranking, which counts, may take more."""

_MOST_CAUSES = 5
_LEADING = 3
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
        for cause in sorted(point.chances, key=point.chances.__getitem__)[-_LEADING:]:
            best[cause] = max(best.get(cause, 0.0), point.chances[cause])
    return sorted(best, key=lambda cause: -best[cause])[:_MOST_CAUSES]
