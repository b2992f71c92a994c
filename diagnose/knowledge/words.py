"""The words that somebody who begins may not know: data, in ``graphs/words.yaml``."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from diagnose.knowledge.model import Strict, Text, read_model
from diagnose.knowledge.places import shipped


class Word(Strict):
    """What a word means, and the pages to read beside it."""

    says: Text
    see: tuple[Text, ...] = ()


class Words(Strict):
    """Every word with its meaning, in the order of the file."""

    says: Text
    source: Text
    words: Mapping[Text, Word]


@cache
def load_words() -> Mapping[str, Word]:
    """The words that ship. Raises `FileProblems`.

    >>> load_words()["section"].says
    'Rows that are fed by one hose and one manifold.'
    """
    return read_model(shipped().words, Words).words
