"""Where the events of a case in hand are kept."""

from __future__ import annotations

from typing import Protocol

from diagnose.observations.entries import Event, Opened
from diagnose.observations.guard import check_appendable


class Keeper(Protocol):
    """What keeps events; a casebook, or `Scratch`."""

    def begin(self, opening: Event) -> None:
        """A new case, by its first event."""

    def add(self, case: str, *told: Event, seen: str | None = None) -> None:
        """Events of a case; safe when this returns.

        ``seen`` is the last event that their giver knows of. Raises as
        `guard.check_appendable` does.
        """

    def events(self, case: str) -> tuple[Event, ...]:
        """All events of a case, those that others added too."""


class Scratch:
    """Keeps events as long as the program runs.

    >>> from diagnose.observations.entries import new_event
    >>> scratch = Scratch()
    >>> scratch.begin(new_event(Opened(case="20260301-a", machine="mounted-6"), "A"))
    >>> [event.what.kind for event in scratch.events("20260301-a")]
    ['opened']
    """

    def __init__(self) -> None:
        self._told: dict[str, list[Event]] = {}

    @property
    def cases(self) -> tuple[str, ...]:
        """The cases that are kept.

        >>> from diagnose.observations.entries import new_event
        >>> scratch = Scratch()
        >>> for case in ("20260301-a", "20260302-b"):
        ...     scratch.begin(new_event(Opened(case=case, machine="mounted-6"), "A"))
        >>> scratch.cases
        ('20260301-a', '20260302-b')
        """
        return tuple(self._told)

    def begin(self, opening: Event) -> None:
        """A new case, by its first event."""
        assert isinstance(opening.what, Opened)
        self._told[opening.what.case] = [opening]

    def add(self, case: str, *told: Event, seen: str | None = None) -> None:
        """Events of a case, each once. Raises as `guard.check_appendable` does.

        >>> from diagnose.observations.entries import Noted, new_event
        >>> scratch = Scratch()
        >>> scratch.begin(new_event(Opened(case="20260301-a", machine="mounted-6"), "A"))
        >>> scratch.add("20260301-a", new_event(Noted("hose chafed"), "A"))
        >>> [event.what.kind for event in scratch.events("20260301-a")]
        ['opened', 'note']
        """
        known = self._told[case]
        check_appendable(case, known, told, seen)
        here = {event.id for event in known}
        known += [event for event in told if event.id not in here]

    def events(self, case: str) -> tuple[Event, ...]:
        """All events of a case."""
        return tuple(self._told[case])
