"""How the machine stands: the set-up that it is in, and what it lacks that lasts once it is there.

Warm oil is such a thing: it is entered once, at its own minutes, and stays while set-ups come and
go. It is lacking here only where somebody stated so; what may be lacking is reckoned in `doubts`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain, combinations
from typing import Protocol

from diagnose.diagnosis.evidence import Evidence
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import ANY_SETUP, PARKED
from diagnose.observations.events import Reading, Remedied, Run
from diagnose.record import record


class _Act(Protocol):
    """What is to be done: its own minutes, and what it wants and leaves behind."""

    @property
    def minutes(self) -> float:
        """The work itself."""

    @property
    def setup(self) -> str:
        """The set-up that it wants."""

    @property
    def ends(self) -> str:
        """The set-up that it leaves behind."""

    @property
    def wants(self) -> tuple[str, ...]:
        """The lasting set-ups that it needs too."""


@record
class SetupState:
    """A set-up, and the lasting set-ups that are known to be lacking.

    As what work wants, ``lacking`` is what the work can do without.
    """

    setup: str
    lacking: frozenset[str] = frozenset()

    def then(self, wanted: SetupState) -> SetupState:
        """How the machine stands once it is brought to what is wanted: nothing lasting is lost.

        >>> cold = frozenset({"warm-oil"})
        >>> SetupState("parked", cold).then(SetupState("running")).then(SetupState("parked", cold))
        SetupState(setup='parked', lacking=frozenset())
        """
        setup = self.setup if wanted.setup == ANY_SETUP else wanted.setup
        return SetupState(setup, self.lacking & wanted.lacking)

    def wanting(self, setup: str, lasting: Iterable[str] = ()) -> SetupState:
        """What work wants in a set-up, of what is lacking here.

        A check wants warm oil, a look at a plug does not mind.

        >>> here = SetupState("parked", frozenset({"warm-oil"}))
        >>> sorted(here.wanting("running", ["warm-oil"]).lacking)
        []
        >>> sorted(here.wanting("parked").lacking)
        ['warm-oil']
        """
        return SetupState(setup, self.lacking - set(lasting))


def minutes_between(knowledge: Knowledge, before: SetupState, after: SetupState) -> float:
    """Minutes of the change of set-up, and of entering whatever lasts and was lacking.

    Starting the engine takes a minute, warming the oil 25.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> known, cold = load_knowledge(), SetupState("parked", frozenset({"warm-oil"}))
    >>> minutes_between(known, SetupState("parked"), SetupState("running"))
    1.0
    >>> minutes_between(known, cold, SetupState("running"))
    26.0
    """
    entered = before.lacking - after.lacking
    change = knowledge.change_minutes(before.setup, after.setup)
    return change + sum(knowledge.setups[one].enter_minutes for one in sorted(entered))


def every_setup_state(knowledge: Knowledge, now: SetupState) -> list[SetupState]:
    """Every way in which the machine may stand from now on.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> known, cold = load_knowledge(), SetupState("parked", frozenset({"warm-oil"}))
    >>> [each.setup for each in every_setup_state(known, SetupState("parked"))]
    ['bleeding', 'parked', 'running']
    >>> [sorted(each.lacking) for each in every_setup_state(known, cold)][2:4]
    [['warm-oil'], []]
    """
    lacking = sorted(now.lacking)
    sizes = range(len(lacking), -1, -1)
    subsets = chain.from_iterable(combinations(lacking, size) for size in sizes)
    setups = [setup.id for setup in knowledge.setups.values() if not setup.lasting]
    return [SetupState(setup, frozenset(some)) for some in subsets for setup in setups]


def present(evidence: Evidence) -> SetupState:
    """How the last things done left the machine; parked when nothing was done.

    Readings of an epoch are taken to come after its runs when there are any.

    >>> from diagnose import load_machine, rank, read_typed
    >>> machine = load_machine("mounted-6")
    >>> for told in ([], ["bleed=PPPPPP"], ["response=PPPPPF", "replace-coil@row-6=done"]):
    ...     print(present(rank(machine, read_typed(machine, told)).evidence).setup)
    parked
    bleeding
    parked
    """
    wanted = [setup for setup in _setups_so_far(evidence) if setup != ANY_SETUP]
    return SetupState(wanted[-1] if wanted else PARKED, evidence.lacking)


def minutes_in_order(evidence: Evidence, acts: Iterable[_Act]) -> Iterator[float]:
    """Minutes of each of some acts done one after another, with the change of set-up before it.

    Two things are done with the engine off, so it is stopped once.

    >>> from diagnose import load_machine, rank, read_typed
    >>> from diagnose.planner.candidates import Candidate
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> one = Candidate("one", "look", "", (6,), 4.0, (), setup="parked", ends="parked")
    >>> list(minutes_in_order(rank(load_machine("mounted-6"), told).evidence, [one, one]))
    [5.0, 4.0]
    """
    knowledge, here = evidence.model.knowledge, present(evidence)
    for act in acts:
        there = here.then(here.wanting(act.setup, act.wants))
        yield act.minutes + minutes_between(knowledge, here, there)
        here = there.then(there.wanting(act.ends, act.wants))


def _setups_so_far(evidence: Evidence) -> Iterator[str]:
    parts, checks = evidence.model.machine.parts, evidence.model.knowledge.checks
    for done in evidence.case.in_order():
        if isinstance(done, Run):
            yield checks[done.check].setup
        elif isinstance(done, Reading):
            yield evidence.measurement(done.part, done.measurement).setup
        elif isinstance(done, Remedied):
            yield parts[done.part].remedy(done.remedy).setup
        else:
            yield parts[done.part].swap(done.swap).setup
