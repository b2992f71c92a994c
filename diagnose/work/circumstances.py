"""Which circumstances of the next run are to be asked for, and which of them are bad."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from diagnose.knowledge.circumstances import Circumstance, State
from diagnose.observations.case import Case
from diagnose.observations.events import Circumstances, Remedied, Run, Swapped
from diagnose.observations.result import Result
from diagnose.observations.state import State as Story
from diagnose.projection import Projection
from diagnose.ranking.evidence import Evidence
from diagnose.ranking.model import Model
from diagnose.reasoning.conclude import conclude_case

STALE = timedelta(minutes=30)
"""A temperature or pressure is asked for again after so long (judgement: oil cools)."""


def wanted(view: Projection, check: str) -> tuple[Circumstance, ...]:
    """The circumstances that can spoil a check and that somebody can see to.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> view = Projection(replay([opening]), load_knowledge())
    >>> [each.id for each in wanted(view, "bleed")]
    ['bleed-hose', 'engine', 'moving', 'oil', 'supply']
    """
    known = view.knowledge.of_scope("run").values()
    return tuple(
        each
        for each in known
        if each.value != "none" and any(state.shows.get(check) for state in each.states)
    )


def to_ask(view: Projection, check: str, now: datetime) -> tuple[Circumstance, ...]:
    """Those that were never told for such a run, or are stale, or turned with the set-up.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> said = new_event(Circumstances({"engine": "on", "oil": 54.0}), "A", opening.at)
    >>> view = Projection(replay([opening, said]), load_knowledge())
    >>> for at in (opening.at, opening.at + 2 * STALE):
    ...     print(*(each.id for each in to_ask(view, "bleed", at)))
    bleed-hose moving supply
    bleed-hose moving oil supply
    """
    said = _said(view.state, check)
    return tuple(each for each in wanted(view, check) if not _fresh(each, said, now))


def _fresh(circumstance: Circumstance, said: Mapping[str, datetime], now: datetime) -> bool:
    at = said.get(circumstance.id)
    return at is not None and (circumstance.value == "choice" or now - at <= STALE)


def _said(state: Story, check: str) -> dict[str, datetime]:
    """When each circumstance was told last, since the set-up for this check was begun.

    A run of another check and work on the machine turn what has to do with the set-up; oil stays
    as warm as it was.
    """
    said: dict[str, datetime] = {}
    for each in state.done:
        what, at = each.counts, each.event.at
        if isinstance(what, Run):
            if what.check != check:
                said = {name: when for name, when in said.items() if name == "oil"}
            said.update(dict.fromkeys(what.circumstances, at) if what.check == check else {})
        elif isinstance(what, Circumstances):
            said.update(dict.fromkeys(what.values, at))
        elif isinstance(what, Remedied | Swapped):
            said = {name: when for name, when in said.items() if name == "oil"}
    return said


def bad(view: Projection, check: str) -> Mapping[str, State]:
    """The bad states, by circumstance, that a run of a check would have now.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.state import replay
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> said = new_event(Circumstances({"engine": "off", "oil": 54.0}), "A")
    >>> found = bad(Projection(replay([opening, said]), load_knowledge()), "bleed")
    >>> [(name, state.name) for name, state in found.items()]
    [('engine', 'not running')]
    """
    run = Run(0, check, (Result.UNSURE,) * view.machine.rows, dict(view.state.circumstances))
    case = Case(view.machine.id, history=view.state.case.history).then(run)
    findings = conclude_case(view.machine, case, view.knowledge)
    evidence = Evidence(Model(view.machine, view.knowledge), case, findings)
    return evidence.known_bad(case.runs[0])
