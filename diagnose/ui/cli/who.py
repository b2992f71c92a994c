"""Who tells something, and which case is meant: an exported file, or one of the casebook."""

from __future__ import annotations

import getpass
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from diagnose.errors import InputError, Place, Problem
from diagnose.knowledge.base import Knowledge
from diagnose.observations.archive import read_story
from diagnose.observations.entries import Event
from diagnose.ui.streams import visible

_LONGEST = 200
"""Letters of a name that are kept."""


def login(otherwise: str = "") -> str:
    """The name under which somebody is logged in, fit to be kept.

    ``otherwise`` stands where the system knows no name, as in a container.
    """
    try:
        name = getpass.getuser()
    except (KeyError, OSError, ImportError):  # which of them depends on the Python
        name = ""
    return visible(name.strip())[:_LONGEST] or otherwise


def person(named: str | None) -> str:
    """The name that was given, else that of the login.

    Raises `InputError` where the login has none: nobody could tell later who said what.

    >>> person(" Ann ")
    'Ann'
    """
    name = login() if named is None else named.strip()
    if not name:
        got = "a login without a name" if named is None else "nothing"
        remedy = "add --who and a name, such as --who Ann"
        raise InputError(Problem(Place("--who"), "who you are", got, remedy))
    return name


if TYPE_CHECKING:
    from diagnose.store.casebook import Casebook

FILES = (".yaml", ".yml", ".json")


def opened_casebook(
    url: str | None = None, tell: Callable[[str], None] | None = None, patience: float = 0.0
) -> Casebook:
    """The casebook, as `diagnose.store.casebook` opens it; the library of databases, which is slow
    to import, is not needed for help.
    """
    from diagnose.store import casebook

    return casebook.open_casebook(url, tell, patience)


def story_of(name: str, knowledge: Knowledge, who: str | None = None) -> tuple[Event, ...]:
    """The events of a case by its id, by a beginning that only it has, by ``last``, or by a path.

    The last case is that which ``who`` worked last, or else whoever is logged in. Raises what the
    casebook (`UnknownName`, `InputError`, `Unavailable`) or the file (`FileProblems`) raises.
    """
    if name.lower().endswith(FILES) or "/" in name:
        return tuple(read_story(Path(name), knowledge))
    with opened_casebook() as casebook:
        return casebook.events(case_named(casebook, name, who))


def case_named(casebook: Casebook, name: str, who: str | None) -> str:
    """The id of the case that somebody means. Raises as `story_of` does.

    >>> from diagnose.observations.entries import Opened, new_event
    >>> with opened_casebook("sqlite://") as casebook:
    ...     casebook.begin(new_event(Opened(case="20260301-a", machine="mounted-6"), "Ann"))
    ...     print(case_named(casebook, "2026", None), case_named(casebook, "last", "Ann"))
    20260301-a 20260301-a
    """
    from diagnose.store.casebook import LAST

    return casebook.find(name, person(who) if name == LAST else "")
