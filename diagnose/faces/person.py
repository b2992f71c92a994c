"""Who somebody is: the name that was given, or that of the login."""

from __future__ import annotations

import getpass

from diagnose.errors import InputError, Place, Problem
from diagnose.knowledge.wrong import Wrong
from diagnose.story.event import spoken

OPTION = "--who"


def person(named: str | None) -> str:
    """The name that was given, else that of the login.

    Raises `InputError` when nobody is known, and for a name that cannot be kept.

    >>> person(" Ann ")
    'Ann'
    >>> person("")
    Traceback (most recent call last):
    diagnose.errors.InputError: --who: expected a name, got nothing; write for example --who Ann
    """
    try:
        name = (_login() if named is None else spoken(named)).strip()
    except Wrong as wrong:
        raise InputError(wrong.at(Place(OPTION))) from wrong
    if not name:
        remedy = "write for example --who Ann"
        raise InputError(Problem(Place(OPTION), "a name", "nothing", remedy))
    return name


def _login() -> str:
    try:
        return spoken(getpass.getuser())
    except (OSError, KeyError, ImportError) as error:
        problem = Problem(Place(OPTION), "who you are", "a login without a name", "add --who NAME")
        raise InputError(problem) from error
