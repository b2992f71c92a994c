"""Who tells something: the name that was given, else the one that is logged in."""

from __future__ import annotations

import getpass

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
