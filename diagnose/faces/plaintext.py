"""Text of users made harmless: nothing in it can hide, turn around or end what stands near it."""

from __future__ import annotations

import unicodedata

KEPT = frozenset("\n\t\u200c\u200d\u00ad")
"""Marks that are not printed but belong to writing: line ends, joiners, soft hyphens."""


def visible(text: str) -> str:
    r"""The text with every mark written out that cannot be seen, turns text around, or is none.

    >>> visible("row 5\u202e oops\x1b[31m"), visible("schräg\r\nλ")
    ('row 5\\u202e oops\\x1b[31m', 'schräg\nλ')
    """
    return "".join(map(_shown, text.replace("\r\n", "\n")))


def _shown(letter: str) -> str:
    if letter.isprintable() or letter in KEPT or unicodedata.category(letter) == "Zs":
        return letter
    return letter.encode("unicode_escape").decode()
