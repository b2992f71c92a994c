"""Who tells something: the name that was given, else the one that is logged in."""

from __future__ import annotations

import getpass

from diagnose.errors import InputError, Place, Problem
from diagnose.faces.plaintext import visible

LONGEST = 200
"""Letters of a name that are kept."""


def login(otherwise: str = "") -> str:
    """The name under which somebody is logged in, fit to be kept.

    ``otherwise`` stands where the system knows no name, as in a container.
    """
    try:
        name = getpass.getuser()
    except (KeyError, OSError, ImportError):  # which of them depends on the Python
        name = ""
    return visible(name.strip())[:LONGEST] or otherwise


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
