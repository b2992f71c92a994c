"""What the program makes of a story so far: its machine, its ranking, its plan, its parts."""

from __future__ import annotations

from dataclasses import field
from functools import cached_property

from diagnose.api import rank
from diagnose.errors import NoAnswer
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import Price
from diagnose.machine.graph import Machine
from diagnose.observations.archive import machine_of
from diagnose.observations.events import Remedied
from diagnose.observations.state import State
from diagnose.ranking.causes import Cause, Ranking
from diagnose.record import record
from diagnose.retest.plan import Goal, Plan
from diagnose.retest.scene import Means


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

    state: State
    knowledge: Knowledge
    ranked: Ranking | None = field(default=None, repr=False, compare=False)

    def then(self, state: State) -> Projection:
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
