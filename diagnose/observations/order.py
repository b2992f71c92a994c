"""In which order things were done, though they may have been told in another one."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import TypeVar

from diagnose.observations.entries import Answered, Event, What
from diagnose.observations.events import Circumstances, Reading, Remedied, Run, Swapped
from diagnose.record import record

_MACHINE = "machine"


@record
class Touch:
    """What an event takes as it is, and what it changes; two that meet in neither commute."""

    takes: frozenset[str] = frozenset()
    changes: frozenset[str] = frozenset()

    def __or__(self, other: Touch) -> Touch:
        return Touch(self.takes | other.takes, self.changes | other.changes)

    def meets(self, other: Touch) -> bool:
        """Whether it matters which of the two came first.

        >>> run, mended = Touch(frozenset({"machine"})), Touch(changes=frozenset({"machine"}))
        >>> run.meets(mended), mended.meets(mended), run.meets(run)
        (True, True, False)
        """
        return bool(self.changes & (other.takes | other.changes) or self.takes & other.changes)


def touch(id: str, what: What | None) -> Touch:
    """What a thing told takes and changes: the machine, circumstances, a run that it is about.

    >>> work = touch("a", Remedied("replace-coil", "row-6/valve"))
    >>> one, other = (touch(id, Run.of("bleed", "PPPPPF")) for id in "bc")
    >>> work.meets(one), one.meets(other)
    (True, False)
    """
    machine = frozenset({_MACHINE})
    match what:
        case Remedied() | Swapped():
            return Touch(changes=machine)
        case Reading():
            return Touch(machine)
        case Circumstances():
            return Touch(machine, frozenset(what.values))
        case Run():
            return Touch(machine | {*what.circumstances}, frozenset({id}))
        case Answered():
            return Touch(frozenset({what.run}))
        case _:
            return Touch()


@record
class Placed:
    """An event, with what of it counts, to be put in its place."""

    event: Event
    counts: What | None

    @cached_property
    def touch(self) -> Touch:
        """What it takes and changes."""
        return touch(self.event.id, self.counts)


Each = TypeVar("Each", bound=Placed)


def in_order_done(story: Iterable[Each]) -> list[Each]:
    """The events as what they tell was done: in the order of telling, but for `Event.before`.

    What has to come after one of those stays after it; everything else comes before. An event
    that counts in the place of another stands where that one stands.

    >>> from diagnose.observations.entries import Opened, new_event
    >>> opening = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> work = new_event(Remedied("replace-coil", "row-6/valve"), "A")
    >>> run = new_event(Run.of("bleed", "PPPPPF"), "B")
    >>> from dataclasses import replace
    >>> run = replace(run, before=(work.id,))
    >>> story = [Placed(each, each.what) for each in (opening, work, run)]
    >>> [each.event.what.kind for each in in_order_done(story)]
    ['opened', 'run', 'remedy']
    """
    done: list[Each] = []
    for each in story:
        if each.event.same_as and each.counts is not None:
            done = _beside(done, each)
        elif each.event.before:
            done = _before(done, each)
        else:
            done.append(each)
    return done


def _beside(done: Sequence[Each], one: Each) -> list[Each]:
    place = next((n for n, each in enumerate(done, 1) if each.event.id == one.event.same_as), None)
    return [*done[:place], one, *(done[place:] if place else ())]


def _before(done: Sequence[Each], one: Each) -> list[Each]:
    named = frozenset(one.event.before)
    first = next((n for n, each in enumerate(done) if n and each.event.id in named), len(done))
    sooner: list[Each] = []
    later: list[Each] = []
    touched = Touch()
    for each in done[first:]:
        if each.event.id in named or each.touch.meets(touched):
            later.append(each)
            touched |= each.touch
        else:
            sooner.append(each)
    return [*done[:first], *sooner, one, *later]
