"""The chain that holds a case's entries together: a changed or missing entry breaks it.

Every entry has bytes that are stored once and never rewritten, the version of the form that they
are in, and a SHA-256 of both and of the entry before. What an older program stored is converted
when it is read (`diagnose.observations.formats`).
"""

from __future__ import annotations

import hashlib

FIRST = ""
"""Stands for the hash before the first entry."""


def link(before: str, form: int, body: str) -> str:
    r"""The hash of an entry: of the hash before it, its form's version and its stored text.

    >>> import hashlib
    >>> by_hand = hashlib.sha256(b'\n2\n{"who":"Ann"}').hexdigest()
    >>> link(FIRST, 2, '{"who":"Ann"}') == by_hand, link(by_hand, 2, "{}") == by_hand
    (True, False)
    """
    text = f"{before}\n{form}\n{body}"
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
