"""From typed words to events, with the same words that ``rowfault rank`` takes."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.cases.case import Reading, Remedied, Run, Work
from diagnose.cases.collecting import collected, refuse
from diagnose.cases.typed import Noted, read_word
from diagnose.errors import Problem
from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import Machine
from diagnose.story.event import Checked, Circumstances, Exchanged, Fact, History, Measured, Mended
from diagnose.story.replay import State


def events_of(
    words: Sequence[str], state: State, machine: Machine, knowledge: Knowledge
) -> list[Fact]:
    """What the words tell, in order. A circumstance after a run is that run's own.

    One that is typed before any run holds for this run and those that follow.

    Raises `FileProblems` with everything that is wrong with any of the words.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.story.event import Opened, told
    >>> from diagnose.story.replay import replay
    >>> state = replay([told(Opened(case="20260301-a", machine="mounted-6"), "A")])
    >>> machine, knowledge = load_machine("mounted-6"), load_knowledge()
    >>> for fact in events_of(["oil=54C", "response=PPPPPF"], state, machine, knowledge):
    ...     print(fact.kind, getattr(fact, "values", None) or fact.circumstances)
    circumstances {'oil': 54.0}
    run {'oil': 54.0}
    """
    problems: list[Problem] = []
    facts: list[Fact] = []
    now = dict(state.circumstances)
    for word in words:
        with collected(problems):
            read = read_word(machine, word, knowledge)
            if not isinstance(read, Noted):
                facts.append(_fact(read, now))
            elif knowledge.circumstances[read.circumstance].scope == "case":
                facts.append(History(values={read.circumstance: str(read.value)}))
            elif facts and isinstance(facts[-1], Checked):
                now[read.circumstance] = read.value
                facts[-1] = _known_of(facts[-1], read)
            else:
                now[read.circumstance] = read.value
                facts.append(Circumstances(values={read.circumstance: read.value}))
    refuse(problems)
    return facts


def _known_of(run: Checked, said: Noted) -> Checked:
    """The run with one more circumstance known."""
    known = {**run.circumstances, said.circumstance: said.value}
    return run.model_copy(update={"circumstances": known})


def _fact(read: Run | Reading | Work, now: dict[str, float | str]) -> Fact:
    if isinstance(read, Run):
        return Checked(check=read.check, pattern=read.pattern, circumstances=dict(now))
    if isinstance(read, Reading):
        return Measured(measurement=read.measurement, part=read.part, value=read.value)
    if isinstance(read, Remedied):
        return Mended(remedy=read.remedy, part=read.part)
    return Exchanged.model_validate({"swap": read.swap, "part": read.part, "with": read.other})
