"""What the program makes of a story so far: its machine, its ranking, its plan, its parts."""

from __future__ import annotations

from functools import cached_property

from diagnose.cases.case import Remedied
from diagnose.errors import NoAnswer
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import Price
from diagnose.machine.graph import Machine
from diagnose.planreport import plan
from diagnose.ranking.causes import Cause, Ranking
from diagnose.record import record
from diagnose.report import rank
from diagnose.retest.plan import Goal, Plan
from diagnose.retest.scene import Means
from diagnose.story.archive import machine_of
from diagnose.story.replay import State


@record
class Used:
    """A part that was replaced: by which remedy, where, and its price class."""

    remedy: str
    part: str
    price: Price


@record
class View:
    """A state of a case as it is understood; everything is worked out when first asked for.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.story.event import Checked, Opened, told
    >>> from diagnose.story.replay import replay
    >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> warm = {"oil": 54.0, "engine": "on"}
    >>> run = told(Checked(check="response", pattern="PPPPPF", circumstances=warm), "A")
    >>> view = View(replay([first, run]), load_knowledge())
    >>> view.ranking.causes[0].rows, view.plan().proof.holds
    ((6,), False)
    """

    state: State
    knowledge: Knowledge

    @cached_property
    def machine(self) -> Machine:
        """The case's machine, from the layout in the case if it has one.

        Raises `UnknownName` or `FileProblems`.
        """
        return machine_of([each.event for each in self.state.told], self.knowledge)

    @cached_property
    def ranking(self) -> Ranking:
        """The causes, given everything that counts. Raises `ImpossibleEvidence`."""
        return rank(self.machine, self.state.case, self.knowledge)

    @property
    def causes(self) -> tuple[Cause, ...]:
        """The causes, most probable first; none while the case cannot be ranked.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.story.event import Checked, Opened, told
        >>> from diagnose.story.replay import replay
        >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> run = told(Checked(check="response", pattern="PPPPPF"), "A")
        >>> View(replay([first, run]), load_knowledge()).causes[0].rows
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
        >>> from diagnose.story.event import AtHand, Opened, told
        >>> from diagnose.story.replay import replay
        >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> without = told(AtHand(without=("gauge",), alone=True), "A")
        >>> means = View(replay([first, without]), load_knowledge()).means
        >>> sorted(means.without), means.alone, sorted(means.skipped)
        (['gauge'], True, [])
        """
        return Means(self.state.without, self.state.alone, self.state.skipped)

    def plan(self, goal: Goal = "restore", depth: int = 1) -> Plan:
        """What to do next. Raises `ImpossibleEvidence`."""
        return plan(self.machine, self.state.case, goal, self.means, depth, self.knowledge)

    @cached_property
    def parts_used(self) -> tuple[Used, ...]:
        """The parts that were replaced, in order.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.story.event import Mended, Opened, told
        >>> from diagnose.story.replay import replay
        >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "A")
        >>> mended = told(Mended(remedy="replace-coil", part="row-6/valve"), "A")
        >>> View(replay([first, mended]), load_knowledge()).parts_used
        (Used(remedy='replace-coil', part='row-6/valve', price='medium'),)
        """
        done = [work for work in self.state.case.work if isinstance(work, Remedied)]
        used = (Used(w.remedy, w.part, self._price(w)) for w in done)
        return tuple(each for each in used if each.price != "none")

    def _price(self, work: Remedied) -> Price:
        return self.machine.parts[work.part].remedy(work.remedy).parts_price
