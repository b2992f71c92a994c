"""Text of users made harmless: nothing in it can hide, turn around or end what stands near it."""

from __future__ import annotations

import unicodedata

TURNS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""Marks that change the direction in which what follows is read."""

KEPT = frozenset("\n\t")


def visible(text: str) -> str:
    r"""The text with control and direction marks, and what no page can hold, written out.

    >>> visible("row 5\u202e oops\x1b[31m"), visible("schräg\nλ")
    ('row 5\\u202e oops\\x1b[31m', 'schräg\nλ')
    """
    return "".join(_shown(letter) for letter in text)


def _shown(letter: str) -> str:
    if letter in KEPT or letter.isprintable():
        return letter
    sort = unicodedata.category(letter)
    if letter in TURNS or sort in ("Cc", "Cs", "Cn", "Co") or sort in ("Zl", "Zp"):
        return letter.encode("unicode_escape").decode()
    return letter
