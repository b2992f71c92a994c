"""Which case somebody means: a file, an id, the beginning of one, or the last."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from diagnose.errors import InputError, Place, Problem, UnknownName, quoted
from diagnose.knowledge.base import Knowledge
from diagnose.story.event import Event

LAST = "last"
SEE = "rowfault cases"
FILES = (".yaml", ".yml", ".json")


def story_of(name: str, knowledge: Knowledge) -> tuple[Event, ...]:
    """The events of a case, from the casebook or from an archive file.

    Raises `UnknownName` or `InputError` when no case, or more than one, is meant, and whatever
    the casebook or the file raises.
    """
    if name.lower().endswith(FILES) or "/" in name:
        from diagnose.story.archive import read_story  # noqa: PLC0415

        return tuple(read_story(Path(name), knowledge))
    from diagnose.store.casebook import open_casebook  # noqa: PLC0415

    with open_casebook() as casebook:
        last = {entry.case: entry.last for entry in casebook.entries()}
        return tuple(casebook.events(meant(name, last)))


def meant(name: str, last: Mapping[str, datetime]) -> str:
    """The id that a name stands for, among cases with when each was last told something.

    >>> meant("2026", {"20260301-a": datetime(2026, 3, 1)})
    '20260301-a'
    """
    where = Place("case")
    if name == LAST and last:
        return max(last, key=lambda case: (last[case], case))
    if name in last:
        return name
    near = sorted(case for case in last if case.startswith(name))
    if len(near) == 1:
        return near[0]
    if near:
        which = ", ".join(near[:3]) + (f" and {len(near) - 3} more" if len(near) > 3 else "")
        raise InputError(
            Problem(where, "the beginning of one case's id", quoted(name), f"it begins {which}")
        )
    raise UnknownName(where, "a case", name, last, SEE)
