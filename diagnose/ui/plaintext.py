"""Text of users made harmless: nothing in it can hide, turn around or end what stands near it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence

KEPT = frozenset("\n\t\u200c\u200d\u00ad")
"""Marks that are not printed but belong to writing: line ends, joiners, soft hyphens."""
LONE_SURROGATES = re.compile("[\ud800-\udfff]")


def visible(text: str) -> str:
    r"""The text with every mark written out that cannot be seen, turns text around, or is none.

    >>> visible("row 5\u202e oops\x1b[31m"), visible("schräg\r\nλ")
    ('row 5\\u202e oops\\x1b[31m', 'schräg\nλ')
    """
    if text.replace("\n", "").isprintable():
        return text
    return "".join(map(_shown, text.replace("\r\n", "\n")))


def _shown(letter: str) -> str:
    if letter.isprintable() or letter in KEPT or unicodedata.category(letter) == "Zs":
        return letter
    return letter.encode("unicode_escape").decode()


def encodable(data: object) -> object:
    r"""Plain data with half characters, which no encoding has, written out.

    >>> encodable({"name": ["\udcff", 6]})
    {'name': ['\\udcff', 6]}
    """
    if isinstance(data, str):
        return LONE_SURROGATES.sub(lambda half: _shown(half[0]), data)
    if isinstance(data, Mapping):
        return {encodable(name): encodable(value) for name, value in data.items()}
    if isinstance(data, Sequence):
        return [encodable(each) for each in data]
    return data
